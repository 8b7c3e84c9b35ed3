-- One row per person: student, coach, head coach or guardian.
CREATE TABLE IF NOT EXISTS academy.person (
    person VARCHAR NOT NULL,
    role VARCHAR NOT NULL,           -- student | coach | head_coach | guardian
    display_name VARCHAR NOT NULL,
    born DATE,
    handed VARCHAR,                  -- right | left
    foot_length_mm DOUBLE,
    level VARCHAR,
    guardian_of VARCHAR[],           -- students a guardian answers for
    joined DATE,
    "left" DATE
);
