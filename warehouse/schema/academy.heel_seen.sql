-- One row per swing, event, foot and source: a heel on a film, by eye or by points of heels and toes.
CREATE TABLE IF NOT EXISTS academy.heel_seen (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    event VARCHAR NOT NULL,          -- address | takeaway | mid_back | top | mid_down | impact | finish
    t_s DOUBLE NOT NULL,             -- on the clip clock
    foot VARCHAR NOT NULL,           -- lead | trail
    up BOOLEAN NOT NULL,             -- off the ground
    source VARCHAR NOT NULL,         -- eye | points (of a swing no plate measured)
    rise_mm DOUBLE,                  -- over the heel's height at address; null by eye and without a scale
    rise_se_mm DOUBLE
);
