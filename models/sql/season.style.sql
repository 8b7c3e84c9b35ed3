-- One row per season, student and club family: style by impact, from at least 20 full-pace swings.
-- On average the lead share holds or rises from mid_down to impact:
-- stays_forward; it falls back by more than 10 points: falls_back; between the two: mixed. Neither style is a fault.
WITH kept_swing AS (
    -- kept_swing.sql
),
gain AS (
    SELECT
        kept_swing.season,
        kept_swing.student,
        kept_swing.club_family,
        swing_metric.impact_gain_pts
    FROM kept_swing
    JOIN academy.swing_metric USING (session, swing_no)
    WHERE kept_swing.season IS NOT NULL
        AND kept_swing.club_family IS NOT NULL
        AND kept_swing.pace = 'full'
        AND isfinite(swing_metric.impact_gain_pts)
)
SELECT
    season,
    student,
    club_family,
    CASE
        WHEN avg(impact_gain_pts) >= 0 THEN 'stays_forward'
        WHEN avg(impact_gain_pts) < -10 THEN 'falls_back'
        ELSE 'mixed'
    END AS style,
    count(*)::INTEGER AS n
FROM gain
GROUP BY season, student, club_family
HAVING count(*) >= 20
