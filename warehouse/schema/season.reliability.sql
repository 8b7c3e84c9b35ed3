-- One row per season, metric and club family: how far a session's value can be trusted.
CREATE TABLE IF NOT EXISTS season.reliability (
    season VARCHAR NOT NULL,
    metric VARCHAR NOT NULL,
    club_family VARCHAR NOT NULL,
    sd_student DOUBLE,
    sd_session DOUBLE,
    sd_swing DOUBLE,
    icc_session DOUBLE,
    sem DOUBLE,
    sdc95 DOUBLE,
    swings_wanted INTEGER,
    n_students INTEGER NOT NULL,
    n_sessions INTEGER NOT NULL,
    worthwhile DOUBLE,               -- smallest worthwhile change: 0.2 of sd_student, or twice what one swing that
                                     -- differs moves a session of a measure most of whose swings are alike
    lenders INTEGER                  -- how many other academies lent the variance parts; null: none, they were fitted here
);
