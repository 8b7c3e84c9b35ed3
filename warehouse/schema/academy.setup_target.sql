-- One row per student, set-up metric and first day of a target from the student's own steady stands.
CREATE TABLE IF NOT EXISTS academy.setup_target (
    student VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,         -- address_{lead,trail}_along_pct, and _heel_share_pct that follows from it
    "from" DATE NOT NULL,
    n_stands INTEGER NOT NULL,       -- steady stands of the year up to that day
    n_sessions INTEGER NOT NULL,
    median_pct DOUBLE NOT NULL,      -- of the metric, as the others
    lo_pct DOUBLE NOT NULL,          -- holds the true median nine times in ten
    hi_pct DOUBLE NOT NULL,
    band_lo DOUBLE NOT NULL,         -- the own band, as in academy.band
    band_hi DOUBLE NOT NULL
);
