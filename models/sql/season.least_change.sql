-- One row per season, club family and metric of which a fifth of the full-pace baseline swings or more have one value:
-- twice what a single swing that differs moves a session's mean. Where most swings are zero the students' spread is
-- next to nothing, and one swing would pass for a change.
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
),
own AS (
    SELECT
        kept_swing.season,
        kept_swing.club_family,
        swing_value.metric,
        kept_swing.session,
        swing_value.value,
        count(*) OVER (PARTITION BY kept_swing.season, kept_swing.club_family, swing_value.metric, swing_value.value)
            AS alike
    FROM swing_value
    JOIN kept_swing USING (session, swing_no)
    JOIN academy.metric USING (metric)
    WHERE metric.followed
        AND isfinite(swing_value.value)
        AND kept_swing.season IS NOT NULL
        AND kept_swing.club_family IS NOT NULL
        AND kept_swing.part = 'baseline'
        AND kept_swing.pace = 'full'
),
common AS (
    SELECT
        season,
        club_family,
        metric,
        arg_max(value, (alike, -value)) AS usual,
        max(alike) AS alike,
        count(*) AS swings,
        count(DISTINCT session) AS sessions
    FROM own
    GROUP BY ALL
)
SELECT
    own.season,
    own.club_family,
    own.metric,
    2 * median(abs(own.value - common.usual)) / any_value(common.swings / common.sessions) AS least
FROM own
JOIN common USING (season, club_family, metric)
WHERE common.alike >= 0.2 * common.swings AND own.value <> common.usual
GROUP BY ALL
ORDER BY ALL
