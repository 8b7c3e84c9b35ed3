"""How sure we are: reliability, calibration, eye against plate, coaches' gains, and swings left out."""

import polars as pl

from dashboard.queries import translated
from warehouse.access import Reader


def reliability(reader: Reader, season: str, family: str) -> pl.DataFrame:
    """One row per metric in screen order, with its label, unit, decimals and whether it is shown first."""
    rows = reader.sql(
        """
        SELECT r.*, m.label, m.unit, m.explain, m.better, m.decimals, m.phase, m.core
        FROM reliability r JOIN metric m USING (metric)
        WHERE r.season = ? AND r.club_family = ? ORDER BY m.position
        """,
        [season, family],
    )
    return translated(rows, "label", "explain")


def reliability_families(reader: Reader, season: str) -> list[str]:
    """Club families with a row of reliability, the most measured first."""
    rows = reader.sql(
        """
        SELECT club_family, max(n_sessions) AS n FROM reliability
        WHERE season = ? GROUP BY 1 ORDER BY n DESC, 1
        """,
        [season],
    )
    return rows["club_family"].to_list()


def calibration(reader: Reader) -> pl.DataFrame:
    """How often the season's claims held in simulated academies whose truth was known."""
    return reader.sql("SELECT * FROM calibration")


def eye_plate(reader: Reader, season: str, coach: str | None) -> pl.DataFrame:
    """One row per fault in swing order: what was seen against what was measured, of a coach or of all."""
    rows = reader.sql(
        """
        SELECT e.*, f.name, f.position FROM eye_plate e JOIN fault f USING (fault)
        WHERE e.season = ? AND e.coach IS NOT DISTINCT FROM CAST(? AS VARCHAR) ORDER BY f.position
        """,
        [season, coach],
    )
    return translated(rows, "name")


def eye_plate_coaches(reader: Reader, season: str) -> dict[str, str]:
    """Coaches with rows of their own in reach, by name."""
    rows = reader.sql(
        """
        SELECT DISTINCT e.coach, p.display_name FROM eye_plate e JOIN person p ON p.person = e.coach
        WHERE e.season = ? AND e.coach IS NOT NULL ORDER BY p.display_name
        """,
        [season],
    )
    return dict(rows.iter_rows())


def coach_gains(reader: Reader, season: str) -> pl.DataFrame:
    """One row per coach, by name; to a coach, the others have neither code nor name."""
    return reader.sql(
        """
        SELECT g.*, p.display_name AS name FROM coach_gain g LEFT JOIN person p ON p.person = g.coach
        WHERE g.season = ? ORDER BY p.display_name NULLS LAST, g.raw_se
        """,
        [season],
    )


def data_health(reader: Reader) -> pl.DataFrame:
    """Swings taken in and left out: season, day, device, coach (a name), reason (a code), n; newest first."""
    return reader.sql(
        """
        SELECT h.season, h.day, h.device, p.display_name AS coach, h.reason, h.n
        FROM data_health h LEFT JOIN person p ON p.person = h.coach
        ORDER BY h.day DESC, h.reason
        """
    )
