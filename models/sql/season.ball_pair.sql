-- One row per season, student, club family, core metric, outcome and session: the metric's mean, what measured it
-- (device; with heels also whether they were measured or estimated), and the ball's result.
-- Full-pace swings with a ball result only, at least five a session; not after a drill.
WITH kept_swing AS (
    -- kept_swing.sql
),
kept_value AS (
    -- kept_value.sql
),
struck AS (
    SELECT
        kept_swing.session,
        kept_swing.season,
        kept_swing.student,
        kept_swing.club_family,
        kept_swing.swing_no,
        shot.carry_m,
        shot.side_m
    FROM academy.shot
    JOIN kept_swing USING (session, swing_no)
    WHERE kept_swing.season IS NOT NULL
        AND kept_swing.club_family IS NOT NULL
        AND kept_swing.part <> 'after_drill'
        AND kept_swing.pace = 'full'
),
moved AS (
    SELECT
        kept_value.session,
        kept_value.club_family,
        kept_value.metric,
        concat_ws(' ', kept_value.device, CASE WHEN metric.needs_heel THEN kept_value.heel_source END) AS measured_by,
        avg(kept_value.value) AS mean
    FROM kept_value
    SEMI JOIN struck USING (session, swing_no)
    JOIN academy.metric USING (metric)
    WHERE metric.core
    GROUP BY ALL
    HAVING count(*) >= 5
),
flown AS (
    SELECT season, student, session, club_family, 'carry_m' AS outcome, avg(carry_m) AS value
    FROM struck
    WHERE isfinite(carry_m)
    GROUP BY ALL
    HAVING count(*) >= 5
    UNION ALL
    SELECT season, student, session, club_family, 'side_spread_m', stddev_samp(side_m)
    FROM struck
    WHERE isfinite(side_m)
    GROUP BY ALL
    HAVING count(*) >= 5
)
SELECT
    flown.season,
    flown.student,
    flown.club_family,
    moved.metric,
    flown.outcome,
    flown.session,
    moved.measured_by,
    moved.mean,
    flown.value
FROM flown
JOIN moved USING (session, club_family)
ORDER BY ALL
