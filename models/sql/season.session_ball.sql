-- One row per season, student, session, club family and ball outcome: n, mean and sd over the session's shots.
-- Of a family only the club hit in most sessions of the season counts: another club carries farther by itself.
-- Full-pace swings only; not after a drill, not putting. Reads the temporary table touched(student).
-- Ball speed over club speed is at most about 1.5 by the bounce of a ball; above 1.7 the two were mixed up.
WITH shot AS (
    SELECT
        session.season,
        session.student,
        session.session,
        session.started_at,
        session.day,
        swing.club_family,
        coalesce(swing.club, swing.club_family) AS club,
        shot.carry_m,
        shot.side_m,
        CASE
            WHEN shot.club_speed_m_s >= 5 AND shot.ball_speed_m_s BETWEEN 1 AND 1.7 * shot.club_speed_m_s
                THEN shot.ball_speed_m_s / shot.club_speed_m_s
        END AS strike_ratio
    FROM academy.shot
    JOIN academy.swing USING (session, swing_no)
    JOIN academy.session USING (session)
    WHERE session.student IN (SELECT student FROM touched)
        AND session.season IS NOT NULL
        AND swing.pace = 'full'
        AND swing.part <> 'after_drill'
        AND swing.club_family <> 'putter'
),
usual AS (
    SELECT season, student, club_family, club
    FROM shot
    GROUP BY season, student, club_family, club
    QUALIFY row_number() OVER (
        PARTITION BY season, student, club_family ORDER BY count(DISTINCT session) DESC, count(*) DESC, club
    ) = 1
),
kept AS (
    SELECT shot.*
    FROM shot
    SEMI JOIN usual USING (season, student, club_family, club)
),
ball AS (
    UNPIVOT kept ON carry_m, side_m, strike_ratio INTO NAME quantity VALUE value
)
SELECT
    season,
    student,
    session,
    started_at,
    day,
    club_family,
    club,
    quantity,
    count(*)::INTEGER AS n,
    avg(value) AS mean,
    stddev_samp(value) AS sd
FROM ball
WHERE isfinite(value)
GROUP BY ALL
HAVING count(*) >= 5
ORDER BY ALL
