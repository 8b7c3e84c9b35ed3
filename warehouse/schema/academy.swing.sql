-- One row per accepted swing of a session.
CREATE TABLE IF NOT EXISTS academy.swing (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    club VARCHAR,
    club_family VARCHAR,             -- putter | wedge | iron | hybrid | wood | driver
    part VARCHAR NOT NULL,           -- baseline | after_drill | retention | play
    pace VARCHAR NOT NULL,           -- slow | half | full
    drill VARCHAR,                   -- for after_drill: the drill that came before it
    device VARCHAR,
    rate_hz DOUBLE,                  -- null for a swing seen only on a clip
    n_samples INTEGER NOT NULL,
    t0_s DOUBLE,
    usable BOOLEAN NOT NULL,         -- at least one metric could be computed
    flags VARCHAR[] NOT NULL,        -- quality flags, of the file and of the models
    flag_counts INTEGER[] NOT NULL,  -- one count for each flag
    file_flags VARCHAR[] NOT NULL,   -- those found while reading the file
    file_flag_counts INTEGER[] NOT NULL,
    kind VARCHAR,                    -- swing | practice_swing | uncertain_swing | not_a_swing; null where its file numbers it
    sure DOUBLE,                     -- 0 to 1, that kind is right; null where a person said so or the file numbers it
    heel_source VARCHAR NOT NULL,    -- measured | estimated | none
    clip_shoe_width_px DOUBLE,       -- of the shoes at address, where a film from the front tells it
    clip_offset_s DOUBLE,            -- plate time - clip time; null where it is not known
    clip_offset_se_s DOUBLE,         -- its standard error; null until the session has been reduced
    clip_offset_source VARCHAR,      -- stated | by_hand | marked | heard | stamp
    clip_candidates_s DOUBLE[],      -- offsets among which a person has to choose; one: as the heels alone say, roughly
    clip_strikes_s DOUBLE[],         -- clicks in the film's sound that may be the strike, on its clock, without the sound's delay
    clip_strike_se_s DOUBLE,         -- the standard error of each; null without a sound track
    clip_taken_at TIMESTAMP,         -- UTC, when or until when the film was taken, as its file says
    clip_captured_fps DOUBLE,        -- pictures a second at which it was filmed, as its file says
    clip_scale_source VARCHAR,       -- stated | shoe | stance | foot | shoe_width | shoe_end_on (too large) | unknown (no mm)
    clip_scale_se_pct DOUBLE         -- relative standard error of every heel rise from its scale
);
