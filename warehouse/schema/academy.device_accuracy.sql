-- One row per device and side checked with a known weight: how far off it reads, and whether it drifts or jumped.
CREATE TABLE IF NOT EXISTS academy.device_accuracy (
    device VARCHAR NOT NULL,
    side VARCHAR NOT NULL,           -- as in academy.device_check
    verdict VARCHAR NOT NULL,        -- drifts, jumped, off (by over 1 %), steady (within 1 %), too_soon
    n_checks INTEGER NOT NULL,       -- since it was last calibrated, the newest 52 at most; the estimates come from these
    since TIMESTAMP NOT NULL,        -- the first of them
    last_at TIMESTAMP NOT NULL,
    error_pct DOUBLE,                -- how much too heavy it reads now, % of the weight; null with too few checks
    error_lo DOUBLE,                 -- 95 % interval
    error_hi DOUBLE,
    next_lo DOUBLE,                  -- 95 % interval of the next check's error
    next_hi DOUBLE,
    drift_pct_month DOUBLE,          -- null if it jumped
    drift_lo DOUBLE,                 -- 95 % interval
    drift_hi DOUBLE,
    began TIMESTAMP,                 -- when the drift began, or the first check after a jump; null without either
    began_lo TIMESTAMP,              -- 95 % interval
    began_hi TIMESTAMP,
    found_at TIMESTAMP,              -- the check from which on every check has found it to drift, to have jumped or to be off
    leaves_at TIMESTAMP,             -- when the line of a drifting device passes 1 %; may lie in the future, null if over ten years ahead
    jump_pct DOUBLE,                 -- by how much it read more after a jump than before, % of the weight
    jump_lo DOUBLE,                  -- 95 % interval
    jump_hi DOUBLE
);
