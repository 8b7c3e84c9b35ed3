-- One row per season, student and club family: style by impact, from at least 20 swings.
CREATE TABLE IF NOT EXISTS season.style (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    style VARCHAR NOT NULL,          -- stays_forward | mixed | falls_back
    n INTEGER NOT NULL
);
