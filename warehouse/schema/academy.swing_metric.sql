-- One row per swing, one column a metric; null where the metric could not be computed.
CREATE TABLE IF NOT EXISTS academy.swing_metric (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    /* crossed | before_top | never; after it comes a DOUBLE column for each metric of rules/metrics.toml */
    crossing VARCHAR
);
