-- One row per student whose named aim is met in season $1 while a fault surely shows in a share of $2 or more, the surest
-- first: the clubs measured most, the named aim, and the fault to work on now with its swings.
SELECT
    aim.student,
    aim.club_family,
    aim.named,
    aim.aim,
    rate.flagged,
    rate.usable
FROM season.aim
JOIN season.student_fault_rate AS rate
    ON rate.season = aim.season
    AND rate.student = aim.student
    AND rate.club_family = aim.club_family
    AND rate.fault = aim.aim
    AND rate.span = 'now'
WHERE aim.season = $1
    AND NOT aim.shared
    AND aim.named_met
    AND aim.reason IN ('earliest_cause', 'most_often')
    AND rate.rate_lo >= $2
QUALIFY row_number() OVER (PARTITION BY aim.student ORDER BY rate.usable DESC, aim.club_family) = 1
ORDER BY rate.rate_lo DESC, aim.student
