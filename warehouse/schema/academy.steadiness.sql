-- One row per direction of a nudge check.
CREATE TABLE IF NOT EXISTS academy.steadiness (
    note VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    session VARCHAR,
    "at" TIMESTAMP NOT NULL,
    day DATE NOT NULL,
    author VARCHAR NOT NULL,
    direction VARCHAR NOT NULL,      -- forward | back | toward (the target) | away | sideways
    lost BOOLEAN NOT NULL,
    eyes VARCHAR NOT NULL,           -- open | closed
    announced BOOLEAN,               -- null: not said
    stood_by VARCHAR                 -- who stood within reach; null: not said
);
