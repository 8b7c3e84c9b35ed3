"""What a player came for, and what the ball did over a season."""

from typing import Any

import polars as pl

from warehouse.access import Reader


def goal(reader: Reader, student: str) -> dict[str, Any] | None:
    """The player's latest goal: day, code (null where only in words), text; None without one."""
    rows = reader.sql(
        """
        SELECT day, code, text FROM note WHERE student = ? AND kind = 'goal' ORDER BY "at" DESC, note LIMIT 1
        """,
        [student],
    )
    return None if rows.is_empty() else rows.row(0, named=True)


def ball_sessions(reader: Reader, student: str, family: str, season: str) -> pl.DataFrame:
    """Rows of season.session_ball with clubs of a family, oldest first."""
    return reader.sql(
        """
        SELECT outcome, session, day, club, value, lo, hi, n FROM session_ball
        WHERE student = ? AND club_family = ? AND season = ? ORDER BY started_at, session
        """,
        [student, family, season],
    )


def ball_trend(reader: Reader, student: str, family: str, season: str, outcome: str) -> dict[str, Any] | None:
    """The row of season.ball_trend of one outcome; None where there is none."""
    rows = reader.sql(
        "SELECT * FROM ball_trend WHERE student = ? AND club_family = ? AND season = ? AND outcome = ?",
        [student, family, season, outcome],
    )
    return None if rows.is_empty() else rows.row(0, named=True)
