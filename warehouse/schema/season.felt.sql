-- One row per felt note: what a player felt, and what the plates measured in those swings.
CREATE TABLE IF NOT EXISTS season.felt (
    note VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    season VARCHAR,                  -- null outside every season
    session VARCHAR,                 -- the note's own, else the student's last of that day; null: none
    day DATE NOT NULL,
    feeling VARCHAR NOT NULL,
    swing_no INTEGER,                -- of a note on one swing
    drill VARCHAR,                   -- of a note on the swings after a drill
    felt BOOLEAN NOT NULL,
    measured BOOLEAN,                -- most of the swings judged showed none of its faults; null: none judged
    judged INTEGER NOT NULL,         -- swings of the note that were judged for all of its faults
    against INTEGER NOT NULL         -- those that showed one of them
);
