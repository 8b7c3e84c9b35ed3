-- One row per measuring device named in academy.toml.
CREATE TABLE IF NOT EXISTS academy.device (
    device VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,           -- pressure_mat | force_plates | insoles | sensor_grid
    settings VARCHAR                 -- its table of academy.toml, as JSON
);
