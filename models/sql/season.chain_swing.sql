-- One row per full-pace baseline swing inside a season and fault of the temporary table link_fault(fault), of the
-- students of the temporary table touched(student); `shown` is null where the fault could not be judged. Swapped feet
-- and putting stay out.
SELECT
    session.season,
    session.student,
    session.session,
    swing.club_family,
    coalesce(swing.device, session.device) AS device,
    swing.heel_source,
    swing.swing_no,
    swing_fault.fault,
    swing_fault.flagged AS shown
FROM academy.session
JOIN academy.swing USING (session)
JOIN academy.swing_fault USING (session, swing_no)
WHERE session.student IN (SELECT student FROM touched)
    AND session.season IS NOT NULL
    AND swing.usable
    AND swing.part = 'baseline'
    AND swing.pace = 'full'
    AND swing.club_family <> 'putter'
    AND NOT list_contains(swing.flags, 'feet_swapped')
    AND swing_fault.fault IN (SELECT fault FROM link_fault)
ORDER BY ALL
