-- One row per student, season, club family and whether only shared notes count: what to work on first, and why.
-- A named aim also has a row with neither season nor club family, which holds for clubs that were not measured.
CREATE TABLE IF NOT EXISTS season.aim (
    season VARCHAR,
    student VARCHAR NOT NULL,
    club_family VARCHAR,
    shared BOOLEAN NOT NULL,         -- true: as the student may know it, from shared notes alone
    aim VARCHAR,                     -- fault or metric; null: nothing to work on
    reason VARCHAR NOT NULL,         -- agreed | named | earliest_cause | most_often | keep | nothing
    named VARCHAR,                   -- the first metric of what was agreed, else the aim of the coach's latest drill or plan
    named_met BOOLEAN,               -- it is inside its target already; null: not measured, or without a target
    drill VARCHAR,                   -- that drill; null: a plan named it
    chain VARCHAR,                   -- the chain that the student's swings bear out, where the aim belongs to one
    cause VARCHAR,                   -- the earliest fault that comes before a named aim
    follows VARCHAR[] NOT NULL,      -- faults that follow from the aim, in swing order
    next_aim VARCHAR                 -- what comes second by the same rule; null: nothing else shows, or only what is linked to it
);
