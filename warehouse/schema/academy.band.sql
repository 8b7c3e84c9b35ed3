-- One row per metric, club family, level, style, student and first day of a target band.
CREATE TABLE IF NOT EXISTS academy.band (
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    level VARCHAR,
    style VARCHAR,
    student VARCHAR,
    lo DOUBLE,                       -- null: open below
    hi DOUBLE,                       -- null: open above
    version VARCHAR NOT NULL,
    "from" DATE
);
