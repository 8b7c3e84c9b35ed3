-- One row per swing and fault; flagged is null when the fault could not be judged.
-- A build keeps a student's rows together, so that a page need not read everybody's.
CREATE TABLE IF NOT EXISTS academy.swing_fault (
    session VARCHAR NOT NULL,
    swing_no INTEGER NOT NULL,
    student VARCHAR NOT NULL,        -- whose session it is
    fault VARCHAR NOT NULL,
    flagged BOOLEAN,
    severity DOUBLE,                 -- 0–1
    rule_version VARCHAR NOT NULL
);
