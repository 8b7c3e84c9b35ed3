-- One row per claim, truth and size of academy: how often the season's claims held where the truth was known.
CREATE TABLE IF NOT EXISTS season.calibration (
    claim VARCHAR NOT NULL,          -- what is claimed, as a code: change_interval_covers, listed_wrongly, good_drill_overstated ...
    truth VARCHAR NOT NULL,          -- how the simulated students moved, as a code: slopes | holds | walks | plateau ...
    students INTEGER NOT NULL,       -- in each simulated academy
    figure DOUBLE NOT NULL,          -- a share of 1, but for a bias: in smallest worthwhile changes
    goal_lo DOUBLE,                  -- least and greatest figure that meets the goal; an open end is null,
    goal_hi DOUBLE,                  -- both null: reported without a goal
    met BOOLEAN,                     -- null without a goal
    n_academies INTEGER NOT NULL,    -- simulated for this row
    error DOUBLE                     -- standard error of the figure, as academies differ; null: not kept
);
