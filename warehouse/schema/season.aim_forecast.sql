-- One row per student, metric with a better direction and number of weeks: what change would show if it were agreed on today.
-- Of the newest season, with the clubs with which the student was measured most; a metric by itself.
CREATE TABLE IF NOT EXISTS season.aim_forecast (
    student VARCHAR NOT NULL,
    season VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    weeks INTEGER NOT NULL,          -- 4 | 8 | 13 | 26 from the academy's newest day
    gap_days DOUBLE NOT NULL,        -- from visit to visit so far
    swings INTEGER NOT NULL,         -- usual number a visit
    least DOUBLE,                    -- change that would show (80 %) by then at this rhythm, in the metric's unit; null: no visit by then
    least_weekly DOUBLE,             -- the same with a visit every week
    least_double_swings DOUBLE       -- the same with twice the swings a visit
);
