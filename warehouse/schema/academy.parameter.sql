-- One row per fitted parameter and version.
CREATE TABLE IF NOT EXISTS academy.parameter (
    name VARCHAR NOT NULL,
    version INTEGER NOT NULL,
    value VARCHAR NOT NULL,          -- JSON
    fitted_at TIMESTAMP NOT NULL
);
