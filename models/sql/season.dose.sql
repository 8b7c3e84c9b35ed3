-- One row per drill dose, with the drill it was drawn against when it was assigned by random draw.
-- A draw is noted as a plan with `drawn_against`. It assigns a student's doses of the drill that won from then on,
-- until there is another draw with it; a dose may also have `drawn_against` itself.
SELECT
    dose.student,
    dose.session,
    dose.drill,
    dose.at,
    dose.day,
    dose.kind,
    coalesce(
        dose.drawn_against,
        (
            SELECT CASE WHEN last(lot.code ORDER BY lot.at) = dose.drill THEN last(lot.drawn_against ORDER BY lot.at) END
            FROM academy.note AS lot
            WHERE lot.kind = 'plan'
                AND lot.drawn_against IS NOT NULL
                AND lot.student = dose.student
                AND dose.drill IN (lot.code, lot.drawn_against)
                AND lot.day <= dose.day
        )
    ) AS drawn_against
FROM academy.drill_dose AS dose
ORDER BY dose.at, dose.note
