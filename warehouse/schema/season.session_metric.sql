-- One row per session, club family, part, pace, drill, device, heel source and metric: the mean over its usable swings.
CREATE TABLE IF NOT EXISTS season.session_metric (
    session VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    coach VARCHAR,
    season VARCHAR,
    started_at TIMESTAMP NOT NULL,
    day DATE NOT NULL,
    club_family VARCHAR,
    part VARCHAR NOT NULL,
    pace VARCHAR NOT NULL,
    drill VARCHAR,
    device VARCHAR,
    heel_source VARCHAR NOT NULL,    -- none for metrics that need no heel load
    metric VARCHAR NOT NULL,
    mean DOUBLE NOT NULL,
    sd DOUBLE,                       -- null for one swing
    n INTEGER NOT NULL
);
