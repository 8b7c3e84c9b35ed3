-- One row per season and coach: the group's gain with its doubt.
CREATE TABLE IF NOT EXISTS season.coach_gain (
    season VARCHAR NOT NULL,
    coach VARCHAR NOT NULL,
    gain DOUBLE,
    gain_lo DOUBLE,
    gain_hi DOUBLE,
    n_students INTEGER NOT NULL,
    shown BOOLEAN NOT NULL
);
