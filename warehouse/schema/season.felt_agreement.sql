-- One row per season, student, feeling and span (now, before, season): how often feeling and plates agreed.
CREATE TABLE IF NOT EXISTS season.felt_agreement (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    feeling VARCHAR NOT NULL,
    span VARCHAR NOT NULL,
    n INTEGER NOT NULL,              -- notes with a measurement beside them
    agreed INTEGER NOT NULL,
    felt_only INTEGER NOT NULL,      -- felt, and not measured
    measured_only INTEGER NOT NULL,  -- measured, and not felt
    rate DOUBLE NOT NULL,            -- 0–1, of agreement
    rate_lo DOUBLE NOT NULL,         -- holds the true rate nine times in ten
    rate_hi DOUBLE NOT NULL,
    p_higher DOUBLE,                 -- probability that now is higher than before
    label VARCHAR NOT NULL           -- better | worse | not_clear | too_few
);
