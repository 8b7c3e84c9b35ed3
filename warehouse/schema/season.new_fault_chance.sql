-- One row per season, student, fault, club family and measured day: the chance, as known by then, that it is new.
CREATE TABLE IF NOT EXISTS season.new_fault_chance (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    fault VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    day DATE NOT NULL,
    p DOUBLE NOT NULL                -- chance of a rate ten points of a hundred over that of before
);
