-- One row per season, student, metric, club family, outcome and measured day: an outcome beside the level, as known by then.
-- Core metrics with a better side. Changes have the better way positive: of consistency minus the log of the swings'
-- standard deviation, of the others in smallest worthwhile changes. No row: too soon to say.
CREATE TABLE IF NOT EXISTS season.outcome_chance (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,    -- transfer_club: the one swung most
    outcome VARCHAR NOT NULL,        -- consistency | keeping (over pauses of four weeks or more) | transfer_pace (full pace beside slower) | transfer_club (other clubs beside these)
    day DATE NOT NULL,
    n INTEGER NOT NULL,              -- sessions, pauses, or pairs of sessions' values; at least 4, of keeping 1
    change DOUBLE NOT NULL,
    change_lo DOUBLE NOT NULL,       -- 90 % interval
    change_hi DOUBLE NOT NULL,
    p_better DOUBLE NOT NULL,        -- chance that there is a change, and for the better
    p_worse DOUBLE NOT NULL,
    p_small DOUBLE NOT NULL          -- chance that it is no large one: within a factor of 2, or 4 smallest worthwhile changes
);
