-- One row per full-pace baseline swing inside a season and fault of the temporary table link_fault(fault); `shown` is
-- null where the fault could not be judged. A sign has rows where a coach's note names the swing.
WITH kept_swing AS (
    -- kept_swing.sql
), shown_in AS (
    SELECT session, swing_no, fault, flagged FROM academy.swing_fault
    UNION ALL
    SELECT session, swing_no, code AS fault, bool_or(coalesce(grade, 1) > 0) AS flagged
    FROM academy.note
    WHERE kind = 'saw' AND swing_no IS NOT NULL AND code NOT IN (SELECT fault FROM academy.fault)
    GROUP BY ALL
)
SELECT
    kept_swing.season,
    kept_swing.student,
    kept_swing.session,
    kept_swing.club_family,
    kept_swing.device,
    kept_swing.heel_source,
    kept_swing.swing_no,
    shown_in.fault,
    shown_in.flagged AS shown
FROM kept_swing
JOIN shown_in USING (session, swing_no)
WHERE kept_swing.season IS NOT NULL
    AND kept_swing.club_family IS NOT NULL
    AND kept_swing.part = 'baseline'
    AND kept_swing.pace = 'full'
    AND shown_in.fault IN (SELECT fault FROM link_fault)
ORDER BY ALL
