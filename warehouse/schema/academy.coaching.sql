-- One row per student, coach and first day: who coached whom, when.
CREATE TABLE IF NOT EXISTS academy.coaching (
    student VARCHAR NOT NULL,
    coach VARCHAR NOT NULL,
    "from" DATE NOT NULL,
    "to" DATE
);
