-- One row per steadiness hold on the plates.
CREATE TABLE IF NOT EXISTS academy.hold (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    eyes VARCHAR NOT NULL,           -- open | closed
    seconds DOUBLE NOT NULL,
    path_mm DOUBLE,
    speed_mm_s DOUBLE,
    rms_along_mm DOUBLE,
    rms_across_mm DOUBLE,
    ellipse_mm2 DOUBLE,
    from_s DOUBLE,
    to_s DOUBLE,
    rate_hz DOUBLE,
    n_samples INTEGER NOT NULL,
    t0_s DOUBLE,
    after_rocking BOOLEAN NOT NULL,  -- the spot found by rocking to and fro
    lead_along_pct DOUBLE,           -- mean place of the pressure, % of foot length from the heel
    trail_along_pct DOUBLE,
    lead_along_sd_pct DOUBLE,        -- how much it moved along the foot
    trail_along_sd_pct DOUBLE
);
