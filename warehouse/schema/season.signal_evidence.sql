-- One row per week, signal and thing that the signal rests on, in order; the newest week only.
CREATE TABLE IF NOT EXISTS season.signal_evidence (
    week DATE NOT NULL,              -- its Monday
    signal VARCHAR NOT NULL,         -- key of season.signal
    place INTEGER NOT NULL,          -- 1 first
    role VARCHAR NOT NULL,           -- main (the signal's own subject) | beside (says the same) | against (says the opposite) | next (aim_met: what to work on now)
    subject VARCHAR NOT NULL,        -- metric, fault, sore place, drill, refused delivery, or sessions
    club_family VARCHAR,
    start_value DOUBLE,              -- slipping, improving: the line at its start, in the metric's unit
    value_now DOUBLE,                -- slipping, improving, outside_band: the line now, in the metric's unit
    p DOUBLE,                        -- slipping, improving, new_fault: chance that it is so, 0–1
    flagged INTEGER,                 -- new_fault, eye_and_plate, aim_met: swings with the fault now
    usable INTEGER,                  -- of how many swings now
    flagged_before INTEGER,          -- new_fault: swings with the fault before
    usable_before INTEGER,           -- of how many swings before
    sessions INTEGER,                -- outside_band, eye_and_plate: sessions looked at; agreed_*: since the agreed day
    seen INTEGER,                    -- eye_and_plate: of those, sessions in which the coach noted the fault
    side VARCHAR,                    -- outside_band: under | over the band
    day DATE,                        -- discomfort: last noted; unmeasured: last measured (null: never); agreed_reached: since when it shows; other agreed_*: due
    days INTEGER,                    -- unmeasured: days since then
    session VARCHAR,                 -- refused: session of its first refusal, when it could be read
    refused_at TIMESTAMP,            -- refused: when; with `session` and the subject as its name, key into academy.refusal
    refusals INTEGER,                -- refused: rows of academy.refusal that the signal counts
    doses INTEGER,                   -- idle_drill: times it was set to the student
    since DATE                       -- slipping, improving, new_fault: Monday of the week it was first listed; discomfort: first noted
);
