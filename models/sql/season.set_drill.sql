-- One row per drill set in a lesson, oldest first: student, day, drill, and what to do with the drill in season $1.
SELECT
    drill_dose.student,
    drill_dose.day,
    drill_dose.drill,
    drill_effect.advice
FROM academy.drill_dose
JOIN academy.drill USING (drill)
LEFT JOIN season.drill_effect
    ON drill_effect.drill = drill.drill
    AND drill_effect.aim = drill.aim
    AND drill_effect.season = $1
WHERE drill_dose.kind = 'drill'
ORDER BY drill_dose."at", drill_dose.note
