-- One row per usable swing (kept_swing.sql) and metric with a finite value.
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
SELECT kept_swing.*, swing_value.metric, swing_value.value
FROM swing_value
JOIN kept_swing USING (session, swing_no)
WHERE isfinite(swing_value.value)
