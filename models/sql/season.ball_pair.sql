-- One row per season, student, club family, core metric, outcome and swing: the metric, the ball's result, and the
-- group the swing is compared within: a session's swings with one club, measured by one device and in one way.
-- carry_m is the ball's carry, side_spread_m how far it ended to the side of its group's mean.
-- Full-pace swings with a ball result only, at least five a group; not after a drill.
WITH kept_swing AS (
    -- kept_swing.sql
),
kept_value AS (
    -- kept_value.sql
),
measured AS (
    SELECT
        kept_value.* EXCLUDE (value),
        kept_value.value AS measure,
        concat_ws(
            ' ', kept_value.session, swing.club, kept_value.device,
            CASE WHEN metric.needs_heel THEN kept_value.heel_source END
        ) AS compared
    FROM kept_value
    JOIN academy.swing USING (session, swing_no)
    JOIN academy.metric USING (metric)
    WHERE metric.core
        AND kept_value.season IS NOT NULL
        AND kept_value.club_family IS NOT NULL
        AND kept_value.part <> 'after_drill'
        AND kept_value.pace = 'full'
),
flown AS (
    SELECT measured.*, 'carry_m' AS outcome, shot.carry_m AS value
    FROM measured
    JOIN academy.shot USING (session, swing_no)
    WHERE isfinite(shot.carry_m)
    UNION ALL
    SELECT
        measured.*,
        'side_spread_m' AS outcome,
        abs(shot.side_m - avg(shot.side_m) OVER (PARTITION BY measured.club_family, measured.metric, compared)) AS value
    FROM measured
    JOIN academy.shot USING (session, swing_no)
    WHERE isfinite(shot.side_m)
)
SELECT season, student, club_family, metric, outcome, session, compared, swing_no, measure, value
FROM flown
QUALIFY count(*) OVER (PARTITION BY club_family, metric, outcome, compared) >= 5
ORDER BY ALL
