-- One row per season, day, device, coach, student and reason: swings taken in, usable and left out.
CREATE TABLE IF NOT EXISTS season.data_health (
    season VARCHAR,
    day DATE NOT NULL,
    device VARCHAR,
    coach VARCHAR,
    student VARCHAR,                 -- null: of a delivery that did not say, or could not be read
    reason VARCHAR NOT NULL,         -- usable, or the flag or refusal that left swings out
    n INTEGER NOT NULL
);
