-- One row per season and coach: the gain of the coach's students with its uncertainty, and the funnel's limits there.
-- Gains are per 90 days toward better, in smallest detectable changes, averaged over the core metrics
-- in which a student has room to gain: whose mean of the season lies outside their band.
CREATE TABLE IF NOT EXISTS season.coach_gain (
    season VARCHAR NOT NULL,
    coach VARCHAR NOT NULL,
    gain DOUBLE,                     -- null when too few students were measured
    gain_lo DOUBLE,                  -- 90 % interval
    gain_hi DOUBLE,
    gain_se DOUBLE,
    overall DOUBLE,                  -- the academy's, at the usual mix of ages
    raw DOUBLE,                      -- overall, and how much further this coach's students came than the others': the dot
    raw_se DOUBLE,
    lo80 DOUBLE,                     -- limits that 80 and 95 of 100 raw gains of equal coaches lie within
    hi80 DOUBLE,
    lo95 DOUBLE,
    hi95 DOUBLE,
    n_students INTEGER NOT NULL,     -- measured under this coach
    n_room INTEGER NOT NULL,         -- of those, with room to gain in a core metric
    shown BOOLEAN NOT NULL           -- false under 8 students with room, of this coach or of the others, or where it
                                     -- is under a third of the coach's: say so, draw no dot
);
