-- One row per season, day and kind of claim: how many claims the visits before it allowed, and how many the visits since bear out.
-- Core metrics of the newest season, without those in which many swings share one value.
CREATE TABLE IF NOT EXISTS season.self_audit (
    season VARCHAR NOT NULL,
    made DATE NOT NULL,              -- the first of a month; a change counts only on the first such day on which it was called
    kind VARCHAR NOT NULL,           -- change (improving or slipping) | next_visit (its mean, within a 90 % interval)
    claims INTEGER NOT NULL,
    borne_out INTEGER NOT NULL,      -- change: the mean since is past the half-way value; next_visit: it lay inside the interval
    expected DOUBLE NOT NULL,        -- how many should be borne out if the model is right
    by_chance DOUBLE                 -- how many would be borne out if nothing had changed; null for next_visit
);
