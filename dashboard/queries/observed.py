"""What coaches check and see, and what players feel: nudge checks, stands, signs and feelings."""

from typing import Any

import polars as pl

from warehouse.access import Reader
from warehouse.observations import signs


def nudge_checks(reader: Reader, student: str) -> pl.DataFrame:
    """One row per nudge check, newest first: day, eyes, announced, stood_by, directions held and lost.

    A check noted line by line, one direction each, is one check where author, day and eyes are the same.
    """
    return reader.sql(
        """
        SELECT day, eyes, announced, stood_by, max("at") AS last_at,
            list(direction) FILTER (NOT lost) AS held, list(direction) FILTER (lost) AS lost
        FROM steadiness WHERE student = ?
        GROUP BY day, eyes, announced, stood_by, author ORDER BY last_at DESC, eyes
        """,
        [student],
    )


def stands(reader: Reader, student: str, *, rocking: bool) -> pl.DataFrame:
    """Quiet stands, or those after rocking to and fro, newest first: day, device and their measures."""
    return reader.sql(
        """
        SELECT s.day, s.device, h.eyes, h.seconds, h.speed_mm_s, h.ellipse_mm2, h.lead_along_pct,
            h.trail_along_pct
        FROM hold h JOIN session s USING (session)
        WHERE s.student = ? AND h.rocking = ? ORDER BY s.day DESC, h.session, h.swing_no
        """,
        [student, rocking],
    )


def setup_targets(reader: Reader, student: str) -> dict[str, dict[str, Any]]:
    """Metric → the newest own target from steady stands; `in_force`: no agreed band goes before it."""
    rows = reader.sql(
        """
        WITH newest AS (
            SELECT metric, arg_max(version, "from") AS version FROM band WHERE student = ? GROUP BY metric
        )
        SELECT DISTINCT ON (t.metric) t.*, n.version LIKE 'steady stands%' AS in_force
        FROM setup_target t LEFT JOIN newest n USING (metric)
        WHERE t.student = ? ORDER BY t.metric, t."from" DESC
        """,
        [student, student],
    )
    return {row["metric"]: row for row in rows.iter_rows(named=True)}


def eye_rates(reader: Reader, student: str, season: str) -> pl.DataFrame:
    """One row per fault or sign seen by eye in a season, faults first, with its rates.

    name (to be translated), sense (good, fault or explains), is_sign, last_seen; lately seen, looked,
    rate_lo and rate_hi; and before seen_before and looked_before.
    """
    known = pl.DataFrame(
        [(sign.code, sign.name, sign.sense) for sign in signs()],
        ["code", "sign_name", "sense"], orient="row",
    )  # fmt: skip
    rows = reader.sql(
        """
        SELECT r.code, f.name, s.last_seen, r.seen, r.looked, r.rate_lo, r.rate_hi,
            b.seen AS seen_before, b.looked AS looked_before
        FROM eye_rate r
        JOIN eye_rate s
            ON s.season = r.season AND s.student = r.student AND s.code = r.code AND s.span = 'season'
        LEFT JOIN eye_rate b
            ON b.season = r.season AND b.student = r.student AND b.code = r.code AND b.span = 'before'
        LEFT JOIN fault f ON f.fault = r.code
        WHERE r.student = ? AND r.season = ? AND r.span = 'now' AND s.seen > 0
        ORDER BY f.position NULLS LAST, r.code
        """,
        [student, season],
    )
    return rows.join(known, on="code", how="left", maintain_order="left").select(
        pl.coalesce("name", "sign_name", "code").alias("name"), pl.col("sense").fill_null("fault"),
        pl.col("sense").is_not_null().alias("is_sign"),
        "last_seen", "seen", "looked", "rate_lo", "rate_hi", "seen_before", "looked_before",
    )  # fmt: skip


def felt_agreement(reader: Reader, student: str, season: str) -> pl.DataFrame:
    """Rows of `felt_agreement` of a season, a feeling's spans together."""
    return reader.sql(
        "SELECT * FROM felt_agreement WHERE student = ? AND season = ? ORDER BY feeling, span",
        [student, season],
    )


def last_felt(reader: Reader, student: str, season: str) -> pl.DataFrame:
    """The newest note of each feeling in a season, as in `felt`."""
    return reader.sql(
        """
        SELECT DISTINCT ON (feeling) day, feeling, felt, measured, judged, against FROM felt
        WHERE student = ? AND season = ? ORDER BY feeling, day DESC, note DESC
        """,
        [student, season],
    )
