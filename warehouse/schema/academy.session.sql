-- One row per session: one student's measured visit.
CREATE TABLE IF NOT EXISTS academy.session (
    session VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    coach VARCHAR,
    started_at TIMESTAMP NOT NULL,   -- UTC
    day DATE NOT NULL,               -- in the academy's time zone
    season VARCHAR,                  -- null outside every season
    device VARCHAR,                  -- null when nothing was measured on plates
    delivery VARCHAR NOT NULL,
    club VARCHAR,
    body_mass_kg DOUBLE,
    stance_mm DOUBLE[],              -- lead heel x, y, lead toe x, y, trail heel x, y, trail toe x, y; x to the target, y to the toes
    has_plate BOOLEAN NOT NULL,
    has_clip BOOLEAN NOT NULL,
    clip_fps DOUBLE,
    shoe_length_mm DOUBLE,
    clip_view VARCHAR,               -- face_on | down_line
    clip_mm_per_px DOUBLE,           -- scale stated in session.toml; null: from stance or shoes
    shoe_width_mm DOUBLE,
    clip_sync VARCHAR,               -- stamp: a heel is stamped before set-up, on plate and film; else null
    clip_runs_through BOOLEAN,       -- one recording: all clips are on one clock; null without a clip
    feet_checked BOOLEAN NOT NULL,
    reduced BOOLEAN NOT NULL         -- false until the models have been over it
);
