-- One row per season, drill, aim, grouping and group: what the drill kept, for whom. Effects as in season.drill_effect.
CREATE TABLE IF NOT EXISTS season.drill_group (
    season VARCHAR NOT NULL,
    drill VARCHAR NOT NULL,
    aim VARCHAR NOT NULL,
    grouping VARCHAR NOT NULL,       -- level | age_band
    "group" VARCHAR NOT NULL,        -- a level; or under_18 | 18_to_39 | 40_to_59 | 60_and_over (age at the first session)
    n_students INTEGER NOT NULL,
    n_doses INTEGER NOT NULL,
    kept DOUBLE,                     -- null with fewer than 8 students
    kept_lo DOUBLE,
    kept_hi DOUBLE
);
