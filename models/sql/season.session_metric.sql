-- One row per session, club family, part, pace, drill, device, heel source and metric: the mean over its usable swings.
-- Numbers that are not finite count as missing. Heel source is 'none' for metrics that need no heel load. Metrics that
-- only serve a rule or a picture are not followed.
WITH kept_swing AS (
    -- kept_swing.sql
),
wide AS (
    SELECT swing_metric.* EXCLUDE (crossing)
    FROM academy.swing_metric
    SEMI JOIN kept_swing USING (session, swing_no)
),
swing_value AS (
    UNPIVOT wide ON COLUMNS(* EXCLUDE (session, swing_no)) INTO NAME metric VALUE value
)
SELECT
    kept_swing.session,
    kept_swing.student,
    kept_swing.coach,
    kept_swing.season,
    kept_swing.started_at,
    kept_swing.day,
    kept_swing.club_family,
    kept_swing.part,
    kept_swing.pace,
    kept_swing.drill,
    kept_swing.device,
    CASE WHEN metric.needs_heel THEN kept_swing.heel_source ELSE 'none' END AS heel_source,
    swing_value.metric,
    avg(swing_value.value) AS mean,
    stddev_samp(swing_value.value) AS sd,
    count(*)::INTEGER AS n
FROM swing_value
JOIN kept_swing USING (session, swing_no)
JOIN academy.metric USING (metric)
WHERE metric.followed AND isfinite(swing_value.value)
GROUP BY ALL
