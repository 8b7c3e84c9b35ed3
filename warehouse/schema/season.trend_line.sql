-- One row per season, student, metric, club family and day of the fitted line.
CREATE TABLE IF NOT EXISTS season.trend_line (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    day DATE NOT NULL,
    mean DOUBLE NOT NULL,
    lo DOUBLE NOT NULL,
    hi DOUBLE NOT NULL
);
