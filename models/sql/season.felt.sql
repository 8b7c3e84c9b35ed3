-- One row per felt note. Reads the temporary table touched(student) and the rows
-- given (feeling, fault, n_faults).
-- The swings of a note: its swing, else those after its drill, else the whole session.
WITH felt_note AS (
    SELECT note.*, coalesce(note.session, visit.session) AS of_session
    FROM academy.note AS note
    LEFT JOIN academy.session AS visit ON visit.student = note.student AND visit.day = note.day
    WHERE note.kind = 'felt' AND note.student IN (SELECT student FROM touched)
    QUALIFY row_number() OVER (PARTITION BY note.note ORDER BY visit.started_at DESC NULLS LAST) = 1
),
of_swing AS (
    SELECT
        felt_note.note,
        swing.swing_no,
        bool_or(swing_fault.flagged) AS against,
        count(swing_fault.flagged) AS known,
        feeling.n_faults
    FROM felt_note
    JOIN academy.swing AS swing ON swing.session = felt_note.of_session AND swing.usable
    JOIN _given AS feeling ON feeling.feeling = felt_note.code
    JOIN academy.swing_fault AS swing_fault
        ON swing_fault.session = swing.session
        AND swing_fault.swing_no = swing.swing_no
        AND swing_fault.fault = feeling.fault
    WHERE CASE
        WHEN felt_note.swing_no IS NOT NULL THEN swing.swing_no = felt_note.swing_no
        WHEN felt_note.drill IS NOT NULL THEN swing.part = 'after_drill' AND swing.drill = felt_note.drill
        ELSE true
    END
    GROUP BY ALL
),
measured AS (
    SELECT
        note,
        count(*) FILTER (against OR known = n_faults) AS judged,
        count(*) FILTER (against) AS against
    FROM of_swing
    GROUP BY note
)
SELECT
    felt_note.note,
    felt_note.student,
    coalesce(session.season, dated.season) AS season,
    felt_note.of_session AS session,
    felt_note.day,
    felt_note.code AS feeling,
    felt_note.swing_no,
    felt_note.drill,
    felt_note.grade = 1 AS felt,
    CASE WHEN measured.judged > 0 THEN 2 * measured.against < measured.judged END AS measured,
    coalesce(measured.judged, 0)::INTEGER AS judged,
    coalesce(measured.against, 0)::INTEGER AS against
FROM felt_note
LEFT JOIN measured USING (note)
LEFT JOIN academy.session AS session ON session.session = felt_note.of_session
LEFT JOIN academy.season AS dated ON felt_note.day BETWEEN dated."from" AND dated."to"
ORDER BY felt_note.at, felt_note.note
