-- One row per season, student, metric, club family and ball outcome: what goes together, swing by swing in a session.
CREATE TABLE IF NOT EXISTS season.ball_link (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    outcome VARCHAR NOT NULL,        -- carry_m | side_spread_m: distance to the side of the session's mean
    per_sd DOUBLE,                   -- change of the outcome per 1 sd of the student's swings in a session
    lo DOUBLE,                       -- 90 % interval
    hi DOUBLE,
    p DOUBLE,                        -- two-sided
    q DOUBLE,                        -- p after Holm's step down over the student's rows of the season
    n_sessions INTEGER NOT NULL,
    label VARCHAR NOT NULL           -- goes_together | not_clear | too_few
);
