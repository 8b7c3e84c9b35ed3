-- One row per session, club family, part, pace, drill, device, heel source and fault: flagged and usable swings.
-- A swing whose fault could not be judged is not counted as usable, and a fault judged on no swing has no row. Heel
-- source is 'none' for faults whose metrics need no heel load.
WITH kept_swing AS (
    -- kept_swing.sql
),
rule AS (
    SELECT
        fault.fault,
        bool_or(metric.needs_heel) AS needs_heel
    FROM academy.fault
    CROSS JOIN unnest(fault.metrics) AS used (metric)
    LEFT JOIN academy.metric ON metric.metric = used.metric
    GROUP BY fault.fault
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
    CASE WHEN rule.needs_heel THEN kept_swing.heel_source ELSE 'none' END AS heel_source,
    swing_fault.fault,
    count(*) FILTER (swing_fault.flagged)::INTEGER AS flagged,
    count(*)::INTEGER AS usable
FROM academy.swing_fault
JOIN kept_swing USING (session, swing_no)
LEFT JOIN rule USING (fault)
WHERE swing_fault.flagged IS NOT NULL
GROUP BY ALL
