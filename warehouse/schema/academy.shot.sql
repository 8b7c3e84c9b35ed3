-- One row per swing with a ball result.
CREATE TABLE IF NOT EXISTS academy.shot (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    carry_m DOUBLE,
    side_m DOUBLE,                   -- positive away from the golfer, for both hands
    club_speed_m_s DOUBLE,
    ball_speed_m_s DOUBLE,
    delivery VARCHAR NOT NULL,
    loose BOOLEAN NOT NULL
);
