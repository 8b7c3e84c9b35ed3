-- One row per week of the weekly review: how many changes it lists, and how many chance alone would.
CREATE TABLE IF NOT EXISTS season.signal_week (
    week DATE NOT NULL,
    as_of DATE NOT NULL,
    judged INTEGER NOT NULL,         -- student, metric and club family rows that were looked through
    listed INTEGER NOT NULL,         -- rows listed as slipping or improving, kindred ones counted
    expected_by_chance DOUBLE NOT NULL  -- sum of 1 - P over the rows listed
);
