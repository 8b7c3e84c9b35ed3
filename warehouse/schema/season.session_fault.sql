-- One row per session, club family, part, pace, drill, device, heel source and fault: flagged and usable swings.
CREATE TABLE IF NOT EXISTS season.session_fault (
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
    heel_source VARCHAR NOT NULL,    -- none for faults that need no heel load
    fault VARCHAR NOT NULL,
    flagged INTEGER NOT NULL,
    usable INTEGER NOT NULL          -- swings whose flagged is not null
);
