-- One row per claim, truth and size of academy: how often the season's claims held where the truth was known.
CREATE TABLE IF NOT EXISTS season.calibration (
    claim VARCHAR NOT NULL,          -- what is claimed, in words
    truth VARCHAR NOT NULL,          -- how the simulated students moved, in words
    students INTEGER NOT NULL,       -- in each simulated academy
    figure DOUBLE NOT NULL,          -- a share of 1, but for a bias: in smallest worthwhile changes
    goal VARCHAR,                    -- in words; null: reported without a goal
    goal_lo DOUBLE,
    goal_hi DOUBLE,
    met BOOLEAN,                     -- null without a goal
    n_academies INTEGER NOT NULL     -- simulated for this row
);
