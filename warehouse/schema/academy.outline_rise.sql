-- One row per swing and foot of a film without tape: how its heel rose, roughly, by the shoe's outline. Nothing is computed from it.
CREATE TABLE IF NOT EXISTS academy.outline_rise (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    foot VARCHAR NOT NULL,           -- lead | trail
    times_s DOUBLE[] NOT NULL,       -- on the clip clock
    rises_mm DOUBLE[] NOT NULL,      -- over the heel's height at address, one for each time
    refused VARCHAR                  -- why the shoe could not be followed, then both are empty: from_front | heel_hidden | no_contrast | out_of_picture | moved | cut | shoe_lost | no_scale
);
