-- One row per device and half of it that was checked with a known weight: how far it reads off, and whether it drifts.
CREATE TABLE IF NOT EXISTS academy.device_accuracy (
    device VARCHAR NOT NULL,
    side VARCHAR NOT NULL,           -- as in academy.device_check
    verdict VARCHAR NOT NULL,        -- drifts, off (by over 1 %), steady (within 1 %), too_soon
    n_checks INTEGER NOT NULL,       -- since it was last calibrated, 52 at most; of these is all that follows
    since TIMESTAMP NOT NULL,        -- the first of them
    last_at TIMESTAMP NOT NULL,
    error_pct DOUBLE,                -- what it reads too much now, % of the weight; null with few checks
    error_lo DOUBLE,                 -- holds the true one in 95 of 100
    error_hi DOUBLE,
    next_lo DOUBLE,                  -- holds the next check in 95 of 100
    next_hi DOUBLE,
    drift_pct_month DOUBLE,
    drift_lo DOUBLE,                 -- holds the true one in 95 of 100
    drift_hi DOUBLE,
    began TIMESTAMP,                 -- since when one that drifts does so
    began_lo TIMESTAMP,              -- between these two in 95 of 100
    began_hi TIMESTAMP,
    found_at TIMESTAMP,              -- the check at which it was found to drift or to be off, as ever since
    leaves_at TIMESTAMP              -- when the line of one that drifts goes over 1 %, also in time to come
);
