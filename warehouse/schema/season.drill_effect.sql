-- One row per season, drill and aim: what the drill kept, what it changed on the day, and what random assignment says.
-- Every effect is toward better: a metric moved its better way or nearer its band, a fault rate fallen. The aim is the
-- drill's own and, where that is a fault, each metric its rule reads. Intervals are 90 %.
CREATE TABLE IF NOT EXISTS season.drill_effect (
    season VARCHAR NOT NULL,
    drill VARCHAR NOT NULL,
    aim VARCHAR,                     -- a fault or a metric
    kept DOUBLE,                     -- mean over the students given it, at the season's end; null: could not be fitted
    kept_lo DOUBLE,
    kept_hi DOUBLE,
    same_day DOUBLE,                 -- what a session's first drill changed, a bad day that passes anyway allowed for;
                                     -- null under 12 students
    same_day_lo DOUBLE,
    same_day_hi DOUBLE,
    cross_check DOUBLE,              -- kept, by regression of the next session on this one
    n_students INTEGER NOT NULL,     -- given it, and measured before and after
    n_doses INTEGER NOT NULL,        -- set to them in lessons
    label VARCHAR NOT NULL,          -- helps | harms | no_clear_effect | too_little_data
    aim_kind VARCHAR,                -- fault | metric
    unit VARCHAR,                    -- points for a fault's rate, else the metric's own
    swc DOUBLE,                      -- smallest worthwhile change, in that unit
    same_day_kind VARCHAR,           -- effect | change (on the day; fewer than 8 sessions re-measured with no drill)
    n_same_day INTEGER,              -- sessions re-measured after this drill
    n_compared INTEGER,              -- sessions re-measured with no drill
    cross_check_lo DOUBLE,
    cross_check_hi DOUBLE,
    pooled DOUBLE,                   -- kept, shrunk toward the mean of the drills with the same aim
    pooled_lo DOUBLE,
    pooled_hi DOUBLE,
    lots DOUBLE,                     -- kept, less what lots_against kept, as drawn by lot; null before the first look
    lots_lo DOUBLE,                  -- the interval that three planned looks share, 95 % over all
    lots_hi DOUBLE,
    n_lots INTEGER,                  -- students drawn between the two and measured twice since
    lots_against VARCHAR,            -- the drill it was drawn against most often
    lots_look INTEGER,               -- planned looks taken, 0 to 3
    p DOUBLE,                        -- one-sided, in the direction of the estimate
    q DOUBLE,                        -- Benjamini-Hochberg over the drills of the season
    advice VARCHAR                   -- keep | change | stop | try: what to do with it, by this aim
);
