-- One row per line of a coach's notes.
CREATE TABLE IF NOT EXISTS academy.note (
    note VARCHAR NOT NULL,           -- hash of its content
    session VARCHAR,
    student VARCHAR NOT NULL,
    "at" TIMESTAMP NOT NULL,
    day DATE NOT NULL,
    author VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,           -- saw | drill | steadiness | plan | discomfort | discomfort_over | falls | talked | practice | target |
                                     -- felt | goal | reference | reference_over | agreed_aim | swing_kind | swing_drill | swing_event
    swing_no INTEGER,
    code VARCHAR,
    grade INTEGER,
    value DOUBLE,
    value_to DOUBLE,
    unit VARCHAR,
    pace VARCHAR,
    place VARCHAR,                   -- lesson | home
    drawn_against VARCHAR,           -- of a plan or drill: the drill that a random draw passed over
    held VARCHAR,                    -- of a nudge check: directions held, separated by spaces
    lost VARCHAR,                    -- of a nudge check: directions in which balance was lost
    announced BOOLEAN,               -- of a nudge check: null when not said
    stood_by VARCHAR,                -- of a nudge check: who stood within reach
    drill VARCHAR,                   -- of a felt note: the drill whose swings were felt
    overruled_by VARCHAR,            -- head coach who answers for what age or pain rules out
    kindred VARCHAR,                 -- of an agreed aim: its other metrics beside code, separated by spaces
    due DATE,                        -- of an agreed aim: the day by which it is to be reached
    text VARCHAR,
    shared BOOLEAN NOT NULL,         -- may the student see it
    delivery VARCHAR NOT NULL,
    loose BOOLEAN NOT NULL           -- came outside the session's folder, so it survives a correction
);
