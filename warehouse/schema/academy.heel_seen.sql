-- One row per swing, event and foot whose heel somebody looked at on a film, by eye and without tape.
CREATE TABLE IF NOT EXISTS academy.heel_seen (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    event VARCHAR NOT NULL,          -- address | takeaway | mid_back | top | mid_down | impact | finish
    t_s DOUBLE NOT NULL,             -- on the clip clock
    foot VARCHAR NOT NULL,           -- lead | trail
    up BOOLEAN NOT NULL              -- off the ground
);
