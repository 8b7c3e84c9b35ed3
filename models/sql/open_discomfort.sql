-- One row per student and sore place: discomfort that no later note of the same student has closed, for its place or for all.
SELECT note.student, coalesce(note.code, 'unnamed_place') AS code, max(note.day) AS day
FROM academy.note AS note
WHERE
    note.kind = 'discomfort'
    AND NOT EXISTS (
        FROM academy.note AS closing
        WHERE closing.student = note.student
            AND closing.kind = 'discomfort_over'
            AND (
                closing.code IS NULL
                OR replace(lower(closing.code), ' ', '_') = replace(lower(note.code), ' ', '_')
            )
            AND closing.at >= note.at
    )
GROUP BY 1, 2
