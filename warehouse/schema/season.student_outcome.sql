-- One row per season, student, metric, club family and outcome: as known today, and what the season's error budget lets be said.
CREATE TABLE IF NOT EXISTS season.student_outcome (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    outcome VARCHAR NOT NULL,        -- as in season.outcome_chance, as are change, its interval and n
    day DATE NOT NULL,               -- the last that counts
    n INTEGER NOT NULL,
    change DOUBLE NOT NULL,
    change_lo DOUBLE NOT NULL,
    change_hi DOUBLE NOT NULL,
    label VARCHAR NOT NULL,          -- improving | slipping | holding (no large change) | not_clear
    since DATE                       -- improving, slipping: Monday of the week in which it was first sure enough
);
