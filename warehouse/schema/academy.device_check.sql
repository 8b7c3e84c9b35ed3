-- One row per device, side and time: a known weight put on the device, and what it read.
CREATE TABLE IF NOT EXISTS academy.device_check (
    device VARCHAR NOT NULL,
    side VARCHAR NOT NULL,           -- whole, or left or right of a device with two halves
    "at" TIMESTAMP NOT NULL,
    known_kg DOUBLE NOT NULL,
    reading_kg DOUBLE NOT NULL,
    recalibrated BOOLEAN NOT NULL,   -- zeroed or calibrated just before this check
    error_pct DOUBLE NOT NULL        -- 100 * (reading_kg - known_kg) / known_kg
);
