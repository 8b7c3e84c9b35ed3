-- One row per session, club family and ball outcome: what the ball did with full swings, with its doubt.
CREATE TABLE IF NOT EXISTS season.session_ball (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    session VARCHAR NOT NULL,
    started_at TIMESTAMP NOT NULL,
    day DATE NOT NULL,
    club_family VARCHAR NOT NULL,
    club VARCHAR NOT NULL,           -- the one hit in most sessions of the season, of its family
    outcome VARCHAR NOT NULL,        -- carry_m | carry_spread_m | side_spread_m | strike_ratio
    value DOUBLE NOT NULL,
    lo DOUBLE NOT NULL,              -- 90 % interval of the session's true value, from its own shots
    hi DOUBLE NOT NULL,
    n INTEGER NOT NULL               -- shots
);
