-- One row per drill that a student was assigned by random draw, and the drill that lost: a plan with `drawn_against`,
-- or a dose that has it itself. A draw counts as drawn, whatever was practised afterwards.
SELECT
    student,
    "at",
    day,
    code AS drill,
    drawn_against
FROM academy.note
WHERE kind = 'plan'
    AND drawn_against IS NOT NULL
UNION ALL
SELECT
    student,
    "at",
    day,
    drill,
    drawn_against
FROM academy.drill_dose
WHERE drawn_against IS NOT NULL
ORDER BY "at", student, drill
