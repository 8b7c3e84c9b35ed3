-- One row per week and signal of the weekly review.
CREATE TABLE IF NOT EXISTS season.signal (
    week DATE NOT NULL,
    kind VARCHAR NOT NULL,
    student VARCHAR,
    subject VARCHAR,                 -- metric or fault
    label VARCHAR,
    p DOUBLE,
    sentence VARCHAR NOT NULL
);
