-- One row per season, student, fault, club family and span (now, before, season).
CREATE TABLE IF NOT EXISTS season.student_fault_rate (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    fault VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    span VARCHAR NOT NULL,
    flagged INTEGER NOT NULL,
    usable INTEGER NOT NULL,
    rate DOUBLE,                     -- 0–1
    rate_lo DOUBLE,
    rate_hi DOUBLE,
    p_lower DOUBLE,                  -- probability that now is lower than before
    label VARCHAR NOT NULL,          -- better | worse | not_clear | too_few
    n_sessions INTEGER NOT NULL
);
