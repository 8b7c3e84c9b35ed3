-- One row per target note and club family: a student's own band from the day it was agreed.
-- A target noted in a session holds for the clubs hit there, any other for every club. Putting has no bands.
WITH target AS (
    SELECT
        note,
        session,
        student,
        day,
        code AS metric,
        least(value, value_to) AS lo,      -- least and greatest pass over nulls: an end left out is open
        greatest(value, value_to) AS hi,
        value IS NULL AS is_open_below,
        value_to IS NULL AS is_open_above
    FROM academy.note
    WHERE kind = 'target'
        AND code IN (SELECT metric FROM academy.metric)
        AND (value IS NOT NULL OR value_to IS NOT NULL)
),
club_hit AS (
    SELECT DISTINCT session, club_family
    FROM academy.swing
    WHERE club_family IS NOT NULL AND club_family <> 'putter'
),
family AS (
    SELECT target.note, club_hit.club_family
    FROM target
    JOIN club_hit USING (session)
    UNION ALL
    SELECT target.note, every_club.club_family
    FROM target
    CROSS JOIN unnest(['wedge', 'iron', 'hybrid', 'wood', 'driver']) AS every_club (club_family)
    WHERE target.session IS NULL OR target.session NOT IN (SELECT session FROM club_hit)
)
SELECT
    target.metric,
    family.club_family,
    target.student,
    CASE WHEN NOT target.is_open_below THEN target.lo END AS lo,
    CASE WHEN NOT target.is_open_above THEN target.hi END AS hi,
    'target ' || target.note AS version,
    target.day AS "from"
FROM target
JOIN family USING (note)
