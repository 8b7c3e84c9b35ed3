-- One row per fault: its name on screen, what it looks like and its rule.
CREATE TABLE IF NOT EXISTS academy.fault (
    fault VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    phase VARCHAR NOT NULL,
    looks_like VARCHAR NOT NULL,
    position INTEGER NOT NULL,       -- swing order
    metrics VARCHAR[] NOT NULL,
    rule VARCHAR NOT NULL,           -- when of faults.toml: below, above, outside, mean_below, …
    "limit" DOUBLE[] NOT NULL,       -- the iron's, one or two
    clear DOUBLE NOT NULL,           -- so far beyond the limit the severity is 1
    in_words VARCHAR NOT NULL,       -- the rule, with {limit}, {lo}, {hi}, {first}, {second} for the limits
    instead VARCHAR,                 -- what a swing without it is like, as a student hears it
    costs VARCHAR,                   -- of an academy's own fault, as are the next three: what it costs;
    feel VARCHAR,                    -- what to feel instead;
    on_film VARCHAR,                 -- how a phone film shows it;
    drill VARCHAR                    -- a drill for it. Those of the usual faults are in the pages' own words
);
