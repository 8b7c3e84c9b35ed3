-- One row per student and agreed aim: the change of its metrics together since the day it was agreed.
-- Where not said otherwise, changes are in smallest worthwhile changes, the better way positive.
CREATE TABLE IF NOT EXISTS season.agreed_aim (
    note VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    season VARCHAR,                  -- of the agreed day; sessions of other seasons do not count
    club_family VARCHAR,             -- with which the student was measured most up to that day; null: not at all
    metrics VARCHAR[] NOT NULL,
    agreed DATE NOT NULL,
    due DATE NOT NULL,
    shared BOOLEAN NOT NULL,
    wanted DOUBLE,                   -- how much would matter
    weights DOUBLE[] NOT NULL,       -- of the metrics, none negative, sum 1; empty: not known yet
    worthwhile DOUBLE[] NOT NULL,    -- each metric's smallest worthwhile change, in its unit
    changes DOUBLE[] NOT NULL,       -- each metric's own change by itself, in its unit and as it is measured
    ses DOUBLE[] NOT NULL,           -- standard errors of these
    n_before INTEGER NOT NULL,       -- sessions with every metric up to the agreed day, that day's among them
    n_since INTEGER NOT NULL,
    last_day DATE,                   -- the last of these sessions up to the due day
    change DOUBLE,                   -- of all metrics together, from the agreed day to last_day
    se DOUBLE,                       -- its standard error
    p DOUBLE,                        -- chance that it is the better way
    look INTEGER,                    -- the first look that was sure, else the last one
    looked DATE,                     -- its day
    bound DOUBLE,                    -- what change / se must exceed at that look
    label VARCHAR NOT NULL,          -- reached | not_yet | not_reached | too_soon
    would_show BOOLEAN,              -- not_yet, not_reached: whether a change on course for what was agreed would show by that look (80 %)
    gap_days DOUBLE,                 -- from visit to visit, up to the agreed day
    swings INTEGER,                  -- usual number a visit, up to the agreed day
    show_by DATE,                    -- by when the wanted change would show (80 %) at this rhythm; null: not within a year
    show_by_weekly DATE,             -- the same with a visit every week
    show_by_double_swings DATE,      -- the same with twice the swings a visit
    least DOUBLE,                    -- change that would show (80 %) by the due day at this rhythm; null: no visit by then
    least_weekly DOUBLE,             -- the same with a visit every week
    least_double_swings DOUBLE       -- the same with twice the swings a visit
);
