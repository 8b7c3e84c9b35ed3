-- One row per season, student and club family: style by impact, from at least 20 full-pace swings.
-- Reads the temporary table touched(student). On average the lead share holds or rises from mid_down to impact:
-- stays_forward; it falls back by more than 10 points: falls_back; between the two: mixed. Neither style is a fault.
WITH gain AS (
    SELECT
        session.season,
        session.student,
        swing.club_family,
        swing_metric.impact_gain_pts
    FROM academy.session
    JOIN academy.swing USING (session)
    JOIN academy.swing_metric USING (session, swing_no)
    WHERE session.student IN (SELECT student FROM touched)
        AND session.season IS NOT NULL
        AND swing.usable
        AND NOT list_contains(swing.flags, 'feet_swapped')
        AND swing.pace = 'full'
        AND swing.club_family <> 'putter'
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
