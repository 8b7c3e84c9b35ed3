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
    rocking BOOLEAN NOT NULL,        -- rocked to and fro to find the steady place, and then stood still
    steady_s DOUBLE,                 -- of rocking: how long the steady stretch at its end lasted; null: none
    lead_along_pct DOUBLE,           -- place of the pressure in that stretch, % of foot length from the heel
    lead_along_sd_pct DOUBLE,        -- and how much it moved
    trail_along_pct DOUBLE,
    trail_along_sd_pct DOUBLE
);
