-- One row per swing and event.
CREATE TABLE IF NOT EXISTS academy.swing_event (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    event VARCHAR NOT NULL,          -- address | takeaway | mid_back | top | mid_down | impact | finish
    t_s DOUBLE NOT NULL,             -- on the plate clock; on the clip clock when clock = clip
    source VARCHAR NOT NULL,         -- marked | by_hand (put on the load curve by a coach) | clip | estimated
    expected_error_s DOUBLE NOT NULL,
    clock VARCHAR NOT NULL           -- plate | clip
);
