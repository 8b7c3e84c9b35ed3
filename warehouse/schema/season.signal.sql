-- One row per week and signal of the weekly review, of up to eight weeks. Numbers of the newest: season.signal_evidence.
CREATE TABLE IF NOT EXISTS season.signal (
    week DATE NOT NULL,              -- its Monday
    as_of DATE NOT NULL,             -- newest session day: what "now" means here
    rank INTEGER NOT NULL,           -- 1 first
    signal VARCHAR NOT NULL,         -- stable key kind:student:subject, named by the talked note that answers it
    kind VARCHAR NOT NULL,           -- discomfort | slipping | improving | new_fault | outside_band | idle_drill | aim_met | agreed_missed | agreed_silent | agreed_due | agreed_reached | unmeasured | eye_and_plate | refused
    student VARCHAR,
    coach VARCHAR,                   -- whose student it is now
    subject VARCHAR,                 -- metric, fault, sore place, drill, or refused delivery
    club_family VARCHAR,
    kindred VARCHAR[] NOT NULL,      -- further metrics or faults of this student that say the same
    label VARCHAR,
    p DOUBLE,                        -- chance that it is so; null where nothing is estimated
    since DATE,                      -- slipping, improving, new_fault: Monday of the week it was first listed; agreed_*: day from which it is so
    weeks INTEGER                    -- newest week: weeks in a row in which this student was listed so, 8 at most;
                                     -- null: refused, aim_met and agreed_*, of which no earlier week is known
);
