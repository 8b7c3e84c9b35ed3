-- One row per week of the weekly review: how many changes it lists, and how many of those chance would make.
CREATE TABLE IF NOT EXISTS season.signal_week (
    week DATE NOT NULL,
    as_of DATE NOT NULL,
    judged INTEGER NOT NULL,         -- student, metric and club family rows that were looked through
    listed INTEGER NOT NULL,         -- rows listed as slipping or improving, kindred ones counted
    expected_by_chance DOUBLE NOT NULL,  -- sum of 1 - P, when first listed, over the rows listed
    entered INTEGER NOT NULL,        -- changes and new faults that were listed so far in the season, each once
    entered_now INTEGER NOT NULL,    -- of those, for the first time this week
    entered_by_chance DOUBLE NOT NULL  -- sum of 1 - P, when first listed, over all that were listed
);
