-- One row per club family and target note, or target from steady stands: a student's own band from that day.
-- A target noted in a session holds for the clubs hit there, any other for every club. Putting has no bands.
-- What a coach agreed with a student goes before what stands measured: these give no band from that day on.
WITH every_club AS (
    SELECT unnest(['wedge', 'iron', 'hybrid', 'wood', 'driver']) AS club_family
),
target AS (
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
    CROSS JOIN every_club
    WHERE target.session IS NULL OR target.session NOT IN (SELECT session FROM club_hit)
),
agreed AS (
    SELECT target.student, target.metric, family.club_family, min(target.day) AS day
    FROM target
    JOIN family USING (note)
    GROUP BY ALL
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
UNION ALL
SELECT
    stood.metric,
    every_club.club_family,
    stood.student,
    stood.band_lo,
    stood.band_hi,
    'steady stands ' || stood.n_stands,
    stood."from"
FROM academy.setup_target AS stood
CROSS JOIN every_club
LEFT JOIN agreed
    ON agreed.student = stood.student
    AND agreed.metric = stood.metric
    AND agreed.club_family = every_club.club_family
    AND agreed.day <= stood."from"
WHERE agreed.day IS NULL
