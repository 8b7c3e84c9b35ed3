"""What drills changed: on the day, kept, for whom, and who was set them lately."""

import polars as pl

from dashboard.queries import translated
from warehouse.access import Reader


def effects(reader: Reader, season: str) -> pl.DataFrame:
    """One row per drill and aim, by the drill's name; aim_name in words, `own` for the drill's own aim.

    Effects are toward better, in `unit` (points for a change of a share); `places` is how many decimals they
    are shown with, one more than the measure itself.
    """
    rows = reader.sql(
        """
        SELECT e.* REPLACE (CASE e.unit WHEN '%' THEN 'points' ELSE e.unit END AS unit),
            d.name, d.how, d.cautions, d.min_age, e.aim = d.aim AS own,
            coalesce(f.name, m.label, replace(e.aim, '_', ' ')) AS aim_name,
            coalesce(f.position, 1000 + m.position) AS aim_position,
            coalesce(m.decimals + (m.decimals < 2)::INTEGER, 0) AS places
        FROM drill_effect e
        JOIN drill d USING (drill)
        LEFT JOIN fault f ON f.fault = e.aim
        LEFT JOIN metric m ON m.metric = e.aim
        WHERE e.season = ?
        ORDER BY d.name, d.drill, own DESC, aim_position
        """,
        [season],
    )
    return translated(rows, "aim_name")


def groups(reader: Reader, season: str, drill: str, aim: str) -> pl.DataFrame:
    """For whom: one row per level and per age band, with kept, kept_lo, kept_hi, n_students, n_doses."""
    return reader.sql(
        """
        SELECT grouping, "group" AS name, n_students, n_doses, kept, kept_lo, kept_hi
        FROM drill_group WHERE season = ? AND drill = ? AND aim = ?
        ORDER BY grouping DESC, list_position(['under_18', '18_to_39', '40_to_59', '60_and_over'], "group"), 2
        """,
        [season, drill, aim],
    )


def aimed_at(reader: Reader, fault: str) -> pl.DataFrame:
    """Drills that aim at this fault or at a measure its rule reads: drill, name, aim, min_age."""
    return reader.sql(
        """
        SELECT d.drill, d.name, d.aim, d.min_age
        FROM drill d, fault f
        WHERE f.fault = ? AND (d.aim = f.fault OR list_contains(f.metrics, d.aim))
        ORDER BY d.name
        """,
        [fault],
    )


def set_lately(reader: Reader, drill: str, newest: int = 8) -> pl.DataFrame:
    """Students in reach who were set this drill, the latest first: student, name, day, times."""
    return reader.sql(
        """
        SELECT d.student, p.display_name AS name, max(d.day) AS day, count(*) AS times
        FROM drill_dose d JOIN person p ON p.person = d.student
        WHERE d.drill = ? AND d.kind = 'drill' AND list_contains(CAST(? AS VARCHAR[]), d.student)
        GROUP BY ALL ORDER BY day DESC, name LIMIT ?
        """,
        [drill, reader.students, newest],
    )


def roster(reader: Reader) -> pl.DataFrame:
    """Every drill of the roster by name: drill, name, aim, aim_name, how, cautions, min_age."""
    rows = reader.sql(
        """
        SELECT d.*, coalesce(f.name, m.label, replace(d.aim, '_', ' ')) AS aim_name
        FROM drill d
        LEFT JOIN fault f ON f.fault = d.aim
        LEFT JOIN metric m ON m.metric = d.aim
        ORDER BY d.name, d.drill
        """
    )
    return translated(rows, "aim_name")
