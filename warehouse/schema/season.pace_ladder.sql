-- One row per season, student, fault, club family and pace: the recent rate, and the highest pace that holds.
CREATE TABLE IF NOT EXISTS season.pace_ladder (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    fault VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    pace VARCHAR NOT NULL,           -- slow | half | full
    flagged INTEGER NOT NULL,
    usable INTEGER NOT NULL,
    rate DOUBLE,                     -- 0–1
    rate_lo DOUBLE,
    rate_hi DOUBLE,
    p_seldom DOUBLE,                 -- probability that the rate is under 20 %
    holds_at VARCHAR,                -- highest pace at which p_seldom is over 0.8; null: none yet
    clean_swings_wanted INTEGER NOT NULL, -- clean swings, in sessions of ten, before a pace can be said to hold
    n_sessions INTEGER NOT NULL
);
