-- One row per note of an agreed aim: its metrics, the one it begins with first, and the season of its day.
SELECT
    note.note,
    note.student,
    season.season,
    list_concat([note.code], string_split(coalesce(note.kindred, ''), ' ')).list_filter(lambda metric: metric <> '')
        AS metrics,
    note.day AS agreed,
    note.due,
    note.shared,
    note.value AS wanted
FROM academy.note
LEFT JOIN academy.season ON note.day BETWEEN season."from" AND season."to"
WHERE note.kind = 'agreed_aim'
ORDER BY note.student, note.day, note.note
