-- One row per drill.
CREATE TABLE IF NOT EXISTS academy.drill (
    drill VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    aim VARCHAR,                     -- a fault code or a metric
    how VARCHAR,
    cautions VARCHAR,
    min_age INTEGER
);
