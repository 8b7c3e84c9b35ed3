-- One row per season, student, club family, core metric, outcome and session: the metric's mean, what measured it
-- (device; with heels also whether they were measured or estimated), and the ball's result.
-- Full-pace swings with a ball result only, at least five a session; not after a drill, not putting, not swapped feet.
WITH struck AS (
    SELECT
        session.session,
        session.season,
        session.student,
        session.device,
        swing.heel_source,
        swing.club_family,
        swing.swing_no,
        shot.carry_m,
        shot.side_m
    FROM academy.shot
    JOIN academy.swing USING (session, swing_no)
    JOIN academy.session USING (session)
    WHERE session.season IS NOT NULL
        AND swing.usable
        AND swing.pace = 'full'
        AND swing.part <> 'after_drill'
        AND swing.club_family <> 'putter'
        AND NOT list_contains(swing.flags, 'feet_swapped')
),
wide AS (
    SELECT swing_metric.* EXCLUDE (crossing)
    FROM academy.swing_metric
    SEMI JOIN struck USING (session, swing_no)
),
metric_value AS (
    UNPIVOT wide ON COLUMNS(* EXCLUDE (session, swing_no)) INTO NAME metric VALUE value
),
moved AS (
    SELECT
        struck.session,
        struck.club_family,
        metric_value.metric,
        concat_ws(' ', struck.device, CASE WHEN metric.needs_heel THEN struck.heel_source END) AS measured_by,
        avg(metric_value.value) AS mean
    FROM metric_value
    JOIN struck USING (session, swing_no)
    JOIN academy.metric ON metric.metric = metric_value.metric AND metric.core
    WHERE isfinite(metric_value.value)
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
