-- One row per delivery or session refused whole since the Monday of the week of $1, oldest first, that has not loaded since.
SELECT
    coalesce(refusal.name, refusal.session, refusal.delivery, 'unnamed') AS delivery,
    refusal.session,
    refusal.student,
    refusal.coach,
    refusal.at
FROM academy.refusal AS refusal
WHERE
    refusal.swing_no IS NULL
    AND refusal.at >= date_trunc('week', CAST($1 AS DATE))
    AND NOT EXISTS (FROM academy.session AS loaded WHERE loaded.session = refusal.session)
ORDER BY refusal.at, refusal.sentence
