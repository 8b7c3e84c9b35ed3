-- One row per season, day, device, coach, student and reason: swings taken in, usable and left out.
-- Reads the temporary table place(time_zone). A swing left out counts under its first flag; a refused session, whose
-- swings were never counted, counts once under its reason. Filled sensors leave no swing out by themselves.
WITH taken_in AS (
    SELECT
        session.season,
        session.day,
        coalesce(swing.device, session.device) AS device,
        session.coach,
        session.student,
        CASE
            WHEN list_contains(swing.flags, 'feet_swapped') THEN 'feet_swapped'
            WHEN swing.usable THEN 'usable'
            ELSE coalesce(
                list_filter(swing.flags, lambda flag: flag <> 'sensors_filled')[1], 'not_computed'
            )
        END AS reason
    FROM academy.session
    JOIN academy.swing USING (session)
),
refused AS (
    SELECT
        session.season,
        coalesce(
            session.day, CAST(timezone(place.time_zone, timezone('UTC', refusal.at)) AS DATE)
        ) AS day,
        coalesce(refusal.device, session.device) AS device,
        coalesce(refusal.coach, session.coach) AS coach,
        coalesce(refusal.student, session.student) AS student,
        refusal.reason
    FROM academy.refusal
    CROSS JOIN place
    LEFT JOIN academy.session USING (session)
),
dated AS (
    SELECT * FROM taken_in
    UNION ALL
    SELECT
        coalesce(refused.season, season.season) AS season,
        refused.day,
        refused.device,
        refused.coach,
        refused.student,
        refused.reason
    FROM refused
    LEFT JOIN academy.season ON refused.day BETWEEN season."from" AND season."to"
)
SELECT
    season,
    day,
    device,
    coach,
    student,
    reason,
    count(*)::INTEGER AS n
FROM dated
GROUP BY ALL
