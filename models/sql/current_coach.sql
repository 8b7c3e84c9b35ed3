-- One row per student: who coaches them on day $1, the newest coaching first; else who held their last session.
SELECT student, last(coach ORDER BY by_roster, since, coach) AS coach
FROM (
    SELECT student, coach, true AS by_roster, "from" AS since
    FROM academy.coaching
    WHERE "from" <= $1 AND ("to" IS NULL OR "to" >= $1)
    UNION ALL
    SELECT student, coach, false, day FROM academy.session WHERE coach IS NOT NULL
)
GROUP BY student
