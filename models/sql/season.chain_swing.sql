-- One row per full-pace baseline swing inside a season and fault of the temporary table link_fault(fault); `shown` is
-- null where the fault could not be judged.
WITH kept_swing AS (
    -- kept_swing.sql
)
SELECT
    kept_swing.season,
    kept_swing.student,
    kept_swing.session,
    kept_swing.club_family,
    kept_swing.device,
    kept_swing.heel_source,
    kept_swing.swing_no,
    swing_fault.fault,
    swing_fault.flagged AS shown
FROM kept_swing
JOIN academy.swing_fault USING (session, swing_no)
WHERE kept_swing.season IS NOT NULL
    AND kept_swing.club_family IS NOT NULL
    AND kept_swing.part = 'baseline'
    AND kept_swing.pace = 'full'
    AND swing_fault.fault IN (SELECT fault FROM link_fault)
ORDER BY ALL
