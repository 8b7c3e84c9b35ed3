-- One row per session, club family, part, pace, drill, device, heel source and metric: the mean over its usable swings.
-- Numbers that are not finite count as missing. Heel source is 'none' for metrics that need no heel load. Metrics that
-- only serve a rule or a picture are not followed.
WITH kept_value AS (
    -- kept_value.sql
)
SELECT
    kept_value.session,
    kept_value.student,
    kept_value.coach,
    kept_value.season,
    kept_value.started_at,
    kept_value.day,
    kept_value.club_family,
    kept_value.part,
    kept_value.pace,
    kept_value.drill,
    kept_value.device,
    CASE WHEN metric.needs_heel THEN kept_value.heel_source ELSE 'none' END AS heel_source,
    kept_value.metric,
    avg(kept_value.value) AS mean,
    stddev_samp(kept_value.value) AS sd,
    count(*)::INTEGER AS n
FROM kept_value
JOIN academy.metric USING (metric)
WHERE metric.followed
GROUP BY ALL
