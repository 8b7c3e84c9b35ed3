-- One row per season, student, fault or sign, and span (now, before, season): how often coaches saw it by eye.
CREATE TABLE IF NOT EXISTS season.eye_rate (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    code VARCHAR NOT NULL,           -- a fault, or a sign of rules/observations.toml
    span VARCHAR NOT NULL,
    seen INTEGER NOT NULL,           -- visits in which it was seen
    looked INTEGER NOT NULL,         -- visits in which it was looked for
    rate DOUBLE NOT NULL,            -- 0–1
    rate_lo DOUBLE NOT NULL,
    rate_hi DOUBLE NOT NULL,
    last_seen DATE
);
