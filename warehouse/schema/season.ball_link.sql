-- One row per season, student, metric, club family and ball outcome: what goes together, within the student.
CREATE TABLE IF NOT EXISTS season.ball_link (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    outcome VARCHAR NOT NULL,        -- carry_m | side_spread_m
    per_sd DOUBLE,                   -- change of the outcome per 1 sd of the student's own session means
    lo DOUBLE,                       -- 90 % interval
    hi DOUBLE,
    p DOUBLE,                        -- two-sided
    q DOUBLE,                        -- after Benjamini-Hochberg over the student's rows of that outcome
    n_sessions INTEGER NOT NULL,
    label VARCHAR NOT NULL           -- goes_together | not_clear | too_few
);
