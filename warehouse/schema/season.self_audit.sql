-- One row per season, day and kind of claim: how many claims visits before it bore, and what visits since say.
-- Core metrics of the newest season.
CREATE TABLE IF NOT EXISTS season.self_audit (
    season VARCHAR NOT NULL,
    made DATE NOT NULL,              -- the first of a month; a change counts on the first of them on which it was called
    kind VARCHAR NOT NULL,           -- change (improving or slipping) | next_visit (the mean of the next one, within 90 %)
    claims INTEGER NOT NULL,
    borne_out INTEGER NOT NULL,      -- change: the mean since lies beyond half-way; next_visit: inside the interval
    expected DOUBLE NOT NULL,        -- how many would be borne out if the model is right
    by_chance DOUBLE                 -- how many would be if nothing had changed; null where that says nothing
);
