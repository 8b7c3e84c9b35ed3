"""What came in: deliveries, refusals, swings left out, and sessions whose feet may be swapped."""

import polars as pl

from warehouse.access import Reader


def deliveries(reader: Reader, newest: int = 200) -> pl.DataFrame:
    """The latest accepted deliveries, one a row; received_at is UTC, student a name."""
    return reader.sql(
        """
        SELECT d.received_at, d.name, d.kind, d.session, p.display_name AS student, s.day, d.outcome,
            d.n_files, d.n_bytes
        FROM delivery d
        LEFT JOIN session s ON s.session = d.session
        LEFT JOIN person p ON p.person = s.student
        ORDER BY d.sequence DESC LIMIT ?
        """,
        [newest],
    )


def refusals(reader: Reader) -> pl.DataFrame:
    """What was refused, newest first; at is UTC, place the column, student and coach are names."""
    return reader.sql(
        """
        SELECT r.at, r.delivery, r.name, r.session, r.swing_no, r.file, r.line, r."column" AS place, r.reason,
            r.sentence, p.display_name AS student, c.display_name AS coach
        FROM refusal r
        LEFT JOIN person p ON p.person = r.student
        LEFT JOIN person c ON c.person = r.coach
        ORDER BY r.at DESC, r.name, r.session, r.swing_no
        """
    )


def swings_left_out(reader: Reader) -> pl.DataFrame:
    """One row per session and flag: day, student (name), session, flag, swings, unusable (of those)."""
    return reader.sql(
        """
        WITH flagged AS (
            SELECT session, usable, unnest(CASE WHEN len(flags) = 0 THEN ['no_metric'] ELSE flags END) AS flag
            FROM swing WHERE len(flags) > 0 OR NOT usable
        )
        SELECT s.day, p.display_name AS student, s.session, f.flag, count(*) AS swings,
            count(*) FILTER (WHERE NOT f.usable) AS unusable
        FROM flagged f JOIN session s USING (session) JOIN person p ON p.person = s.student
        GROUP BY ALL ORDER BY s.day DESC, p.display_name, f.flag
        """
    )


def swing_counts(reader: Reader) -> tuple[int, int]:
    """Swings in reach, and those without any metric."""
    rows = reader.sql("SELECT count(*) AS n, count(*) FILTER (WHERE NOT usable) AS unusable FROM swing")
    return int(rows.item(0, 0)), int(rows.item(0, 1))


def swapped_feet(reader: Reader) -> pl.DataFrame:
    """Sessions that ask whether the feet were swapped: session, day, student (name), swings, finish share."""
    return reader.sql(
        """
        SELECT s.session, s.day, p.display_name AS student, count(*) AS swings,
            median(m.finish_lead_share_pct) AS finish_lead_share_pct
        FROM swing w
        JOIN session s USING (session)
        JOIN person p ON p.person = s.student
        LEFT JOIN swing_metric m USING (session, swing_no)
        WHERE list_contains(w.flags, 'feet_swapped')
        GROUP BY ALL ORDER BY s.day DESC
        """
    )
