-- One row per nudge check.
CREATE TABLE IF NOT EXISTS academy.steadiness (
    note VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    session VARCHAR,
    "at" TIMESTAMP NOT NULL,
    day DATE NOT NULL,
    author VARCHAR NOT NULL,
    direction VARCHAR NOT NULL,      -- forward | back | sideways
    lost BOOLEAN NOT NULL,
    eyes VARCHAR NOT NULL            -- open | closed
);
