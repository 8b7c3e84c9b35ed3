-- One row per swing, video frame and marked point.
CREATE TABLE IF NOT EXISTS academy.clip_point (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    frame INTEGER NOT NULL,
    point VARCHAR NOT NULL,          -- lead_heel | lead_toe | trail_heel | trail_toe
    x_px DOUBLE,
    y_px DOUBLE,
    score DOUBLE
);
