-- One row per fault: its name on screen and what it looks like.
CREATE TABLE IF NOT EXISTS academy.fault (
    fault VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    phase VARCHAR NOT NULL,
    looks_like VARCHAR NOT NULL,
    position INTEGER NOT NULL,       -- swing order
    metrics VARCHAR[] NOT NULL,
    "limit" VARCHAR NOT NULL         -- the rule in words
);
