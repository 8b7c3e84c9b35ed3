-- One row per student, metrics with a better direction and number of weeks: what change would show if it were agreed on today.
-- Of the newest season, with the clubs with which the student was measured most. Changes are in smallest worthwhile changes.
CREATE TABLE IF NOT EXISTS season.aim_forecast (
    student VARCHAR NOT NULL,
    season VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    metrics VARCHAR[] NOT NULL,      -- one, or two to four judged together, in the order of their names
    worthwhile DOUBLE[] NOT NULL,    -- each metric's smallest worthwhile change, in its unit
    weeks INTEGER NOT NULL,          -- 4 | 8 | 13 | 26 from the academy's newest day
    gap_days DOUBLE NOT NULL,        -- from visit to visit with all of them so far
    swings INTEGER NOT NULL,         -- usual number a visit
    least DOUBLE,                    -- change of each that would show (80 %) by then at this rhythm; null: no visit by then
    least_weekly DOUBLE,             -- the same with a visit every week
    least_double_swings DOUBLE       -- the same with twice the swings a visit
);
