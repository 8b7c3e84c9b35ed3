-- One row per time a drill was set in a lesson or practised at home.
CREATE TABLE IF NOT EXISTS academy.drill_dose (
    note VARCHAR NOT NULL,
    student VARCHAR NOT NULL,
    session VARCHAR,
    drill VARCHAR NOT NULL,
    "at" TIMESTAMP NOT NULL,
    day DATE NOT NULL,
    kind VARCHAR NOT NULL,           -- drill (set by a coach) | practice (logged at home)
    place VARCHAR,                   -- lesson | home
    dose DOUBLE,
    unit VARCHAR,                    -- reps | minutes
    pace VARCHAR,
    drawn_against VARCHAR            -- the drill that a random draw passed over; null: somebody chose
);
