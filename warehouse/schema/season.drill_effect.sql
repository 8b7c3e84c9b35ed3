-- One row per season and drill: what it changed on the day and what was kept.
CREATE TABLE IF NOT EXISTS season.drill_effect (
    season VARCHAR NOT NULL,
    drill VARCHAR NOT NULL,
    aim VARCHAR,
    kept DOUBLE,
    kept_lo DOUBLE,
    kept_hi DOUBLE,
    same_day DOUBLE,
    same_day_lo DOUBLE,
    same_day_hi DOUBLE,
    cross_check DOUBLE,
    n_students INTEGER NOT NULL,
    n_doses INTEGER NOT NULL,
    label VARCHAR NOT NULL
);
