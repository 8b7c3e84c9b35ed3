-- One row per aim that a coach named, newest first: by setting a drill that has one, or by a plan with a fault or a
-- metric as its code. What coach and student agreed on comes before all others until it shows or is past its due day.
-- `shared`: the student may see the note.
SELECT
    drill_dose.student,
    drill_dose."at",
    drill_dose.day,
    drill.aim,
    drill.drill,
    note.shared,
    false AS agreed
FROM academy.drill_dose
JOIN academy.drill USING (drill)
JOIN academy.note ON note.note = drill_dose.note
WHERE drill_dose.kind = 'drill'
    AND drill.aim IS NOT NULL
UNION ALL
SELECT
    note.student,
    note."at",
    note.day,
    note.code,
    NULL,
    note.shared,
    note.kind = 'agreed_aim'
FROM academy.note
LEFT JOIN season.agreed_aim AS agreed USING (note)
WHERE (
    note.kind = 'plan'
    AND (
        note.code IN (SELECT fault FROM academy.fault)
        OR note.code IN (SELECT metric FROM academy.metric)
    )
)
OR (
    agreed.label IN ('not_yet', 'too_soon')
    AND agreed.due >= (SELECT max(day) FROM academy.session)
)
ORDER BY student, agreed DESC, "at" DESC, aim, drill, shared
