-- One row per season, day and kind of claim: how many claims the visits before it allowed, and how many the visits since bear out.
-- Of the newest season; its core metrics, without those in which many swings share one value.
CREATE TABLE IF NOT EXISTS season.self_audit (
    season VARCHAR NOT NULL,
    made DATE NOT NULL,              -- the first of a month; a claim counts only on the first such day on which it was made.
                                     -- new_fault, aim_reached: made in the month from that day on
    kind VARCHAR NOT NULL,           -- change (improving or slipping) | next_visit (its mean, within a 90 % interval) | new_fault |
                                     -- drill_helps | drill_not_clear (kept, by the drill's own aim) | aim_reached
    claims INTEGER NOT NULL,
    borne_out INTEGER NOT NULL,      -- change, new_fault, aim_reached: since past the half-way value; next_visit: it lay inside the
                                     -- interval; drills: so did what was kept with 8 students and more first given it since
    expected DOUBLE NOT NULL,        -- how many should be borne out if the model is right
    by_chance DOUBLE                 -- how many would be if nothing had changed or the drill did nothing; null for next_visit and
                                     -- drill_not_clear
);
