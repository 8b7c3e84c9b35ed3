-- One row per season, student and link of a chain: whether the later fault shows more often in swings with the earlier.
-- Full-pace baseline swings of all clubs, compared within a session, with the same clubs, a few swings apart at most; or,
-- of a link with a sign seen by eye, visits in which it was looked for, a few visits apart at most.
CREATE TABLE IF NOT EXISTS season.fault_chain (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    chain VARCHAR NOT NULL,          -- code of warehouse/rules/chains.toml, or the academy's own
    place INTEGER NOT NULL,          -- of the link in its chain: 1 first
    earlier VARCHAR NOT NULL,        -- fault, or a sign seen by eye
    later VARCHAR NOT NULL,          -- fault, or a sign seen by eye
    sessions INTEGER NOT NULL,       -- with swings that can be compared: some with the earlier fault, some without
    swings_with INTEGER NOT NULL,    -- of those, swings with the earlier fault
    swings_without INTEGER NOT NULL,
    share_with DOUBLE,               -- 0–1, of swings with the earlier fault that have the later
    share_without DOUBLE,            -- 0–1, of swings without it
    difference DOUBLE,               -- share_with - share_without, -1 to 1
    difference_lo DOUBLE,            -- 90 % interval
    difference_hi DOUBLE,
    p DOUBLE,                        -- one-sided, exact, of as many swings with both by chance; null with too few, or where
                                     -- the later fault was judged clearly more often in swings of one kind
    q DOUBLE,                        -- p among all links and students of the season
    by_eye BOOLEAN NOT NULL,         -- one of the two is seen by eye
    by_visit BOOLEAN NOT NULL,       -- and too little was noted of single swings: counts and shares are of visits
    label VARCHAR NOT NULL           -- goes_together | not_clear | too_few
);
