-- One row per usable swing of the students of the temporary table touched(student). Swings with swapped feet stay out;
-- putting is not a swing here.
SELECT
    session.session,
    session.student,
    session.coach,
    session.season,
    session.started_at,
    session.day,
    swing.swing_no,
    swing.club_family,
    swing.part,
    swing.pace,
    swing.drill,
    coalesce(swing.device, session.device) AS device,
    swing.heel_source
FROM academy.session
JOIN academy.swing USING (session)
WHERE session.student IN (SELECT student FROM touched)
    AND swing.usable
    AND NOT list_contains(swing.flags, 'feet_swapped')
    AND swing.club_family IS DISTINCT FROM 'putter'
