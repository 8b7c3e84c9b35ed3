-- One row per refused thing: a delivery, a session, or one swing of a session that loaded.
CREATE TABLE IF NOT EXISTS academy.refusal (
    delivery VARCHAR,
    session VARCHAR,
    swing_no INTEGER,
    file VARCHAR,
    line BIGINT,
    "column" VARCHAR,
    reason VARCHAR NOT NULL,
    sentence VARCHAR NOT NULL,
    "at" TIMESTAMP NOT NULL,
    name VARCHAR,                    -- folder or file name it came under
    student VARCHAR,                 -- when it could be read
    coach VARCHAR,
    device VARCHAR
);
