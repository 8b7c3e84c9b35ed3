-- One row per season, student, club family and ball outcome: its change over the season with its uncertainty.
CREATE TABLE IF NOT EXISTS season.ball_trend (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    outcome VARCHAR NOT NULL,        -- carry_m | carry_spread_m | side_spread_m | strike_ratio
    n_sessions INTEGER NOT NULL,
    start_value DOUBLE,              -- of the fitted line, on the first day
    value_now DOUBLE,                -- of the fitted line, on the last day
    change DOUBLE,
    change_lo DOUBLE,                -- 90 % interval
    change_hi DOUBLE,
    p DOUBLE,                        -- two-sided
    q DOUBLE,                        -- after Benjamini-Hochberg over the student's rows of the season
    label VARCHAR NOT NULL           -- improving | slipping | not_clear | too_few
);
