-- One row per season, student, metric, club family and measured day: the chances of a change as known by then.
CREATE TABLE IF NOT EXISTS season.change_chance (
    season VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    day DATE NOT NULL,
    p_improved DOUBLE NOT NULL,      -- chance of a change toward better beyond the smallest worthwhile one
    p_slipped DOUBLE NOT NULL        -- the same toward worse
);
