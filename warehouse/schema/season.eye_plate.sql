-- One row per season, fault and coach (null: all coaches): how far what was seen agrees with what was measured.
CREATE TABLE IF NOT EXISTS season.eye_plate (
    season VARCHAR NOT NULL,
    fault VARCHAR NOT NULL,
    coach VARCHAR,
    n INTEGER NOT NULL,              -- sessions looked at and measured
    agree_pct DOUBLE,
    kappa DOUBLE,                    -- Cohen's; null where seen or measured never differs
    kappa_lo DOUBLE,                 -- 90 % interval
    kappa_hi DOUBLE,
    seen_and_measured INTEGER NOT NULL,
    seen_only INTEGER NOT NULL,
    measured_only INTEGER NOT NULL,
    neither INTEGER NOT NULL
);
