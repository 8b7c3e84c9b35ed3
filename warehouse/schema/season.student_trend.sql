-- One row per season, student, metric and club family: the change over the season with its uncertainty.
CREATE TABLE IF NOT EXISTS season.student_trend (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    n_sessions INTEGER NOT NULL,
    start_value DOUBLE,
    value_now DOUBLE,
    change DOUBLE,
    change_lo DOUBLE,
    change_hi DOUBLE,
    per_month DOUBLE,
    toward_better DOUBLE,            -- the change as a gain: positive is better; null without a better side
    worthwhile DOUBLE,               -- smallest worthwhile change
    p_better DOUBLE,
    p_worse DOUBLE,
    p_improved DOUBLE,               -- chance of a change toward better beyond the smallest worthwhile one
    p_slipped DOUBLE,                -- the same toward worse
    label VARCHAR NOT NULL           -- improving | slipping | holding | not_clear | too_few
);
