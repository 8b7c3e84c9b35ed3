-- One row per season, club family and metric of which a fifth of the full-pace baseline swings or more have one value:
-- twice what a single swing that differs moves a session's mean. Where most swings are zero the students' spread is
-- next to nothing, and one swing would pass for a change.
WITH kept_value AS (
    -- kept_value.sql
),
own AS (
    SELECT
        kept_value.season,
        kept_value.club_family,
        kept_value.metric,
        kept_value.session,
        kept_value.value,
        count(*) OVER (PARTITION BY kept_value.season, kept_value.club_family, kept_value.metric, kept_value.value)
            AS alike
    FROM kept_value
    JOIN academy.metric USING (metric)
    WHERE metric.followed
        AND kept_value.season IS NOT NULL
        AND kept_value.club_family IS NOT NULL
        AND kept_value.part = 'baseline'
        AND kept_value.pace = 'full'
),
common AS (
    SELECT
        season,
        club_family,
        metric,
        arg_max(value, (alike, -value)) AS usual,
        max(alike) AS alike,
        count(*) AS swings,
        count(DISTINCT session) AS sessions
    FROM own
    GROUP BY ALL
)
SELECT
    own.season,
    own.club_family,
    own.metric,
    2 * median(abs(own.value - common.usual)) / any_value(common.swings / common.sessions) AS least
FROM own
JOIN common USING (season, club_family, metric)
WHERE common.alike >= 0.2 * common.swings AND own.value <> common.usual
GROUP BY ALL
ORDER BY ALL
