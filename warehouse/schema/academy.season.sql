-- One row per season of the academy.
CREATE TABLE IF NOT EXISTS academy.season (
    season VARCHAR NOT NULL,
    "from" DATE NOT NULL,
    "to" DATE NOT NULL
);
