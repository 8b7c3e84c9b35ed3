-- One row per metric: what it is and how it is shown.
CREATE TABLE IF NOT EXISTS academy.metric (
    metric VARCHAR NOT NULL,
    label VARCHAR NOT NULL,
    unit VARCHAR NOT NULL,
    explain VARCHAR NOT NULL,
    better VARCHAR NOT NULL,         -- up | down | band | none
    decimals INTEGER NOT NULL,
    phase VARCHAR NOT NULL,          -- address | back | top | down | impact | finish
    needs_heel BOOLEAN NOT NULL,
    core BOOLEAN NOT NULL,
    followed BOOLEAN NOT NULL,       -- over sessions; else it only serves a rule or a picture
    position INTEGER NOT NULL        -- screen order
);
