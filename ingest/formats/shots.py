"""Ball results (`shots*.csv`): one row a swing, of a session or loose; a bad line is refused alone."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from ingest.academy import Academy
from ingest.refusals import refusal, spoken
from ingest.session_file import SessionHeader
from ingest.tables import read_table
from warehouse.contracts.deliveries import ShotLine
from warehouse.errors import Refusal

_AGAIN = "mend the line and deliver it again"


@dataclass(frozen=True)
class Shots:
    """Rows of academy.shot (without delivery and loose), and the lines refused."""

    rows: list[dict[str, Any]]
    refused: Sequence[Refusal]


def read_shots(
    data: bytes,
    file: str,
    academy: Academy,
    *,
    header: SessionHeader | None,
    swings_of: Callable[[str], Collection[int]],
) -> Shots:
    """Read a shots file, of a session (`header`) or loose.

    Raises
        Refused: the file can't be read or its columns do not fit.
    """
    table = read_table(data, file, ShotLine, academy.settings.zone, todo="add it")
    frame = table.frame
    if header is not None:
        frame = frame.with_columns(pl.col("session").fill_null(header.session))
    problems = {f.index: (f.reason, spoken(f, f.column), f.column) for f in reversed(table.broken)}
    seen: set[tuple[str, int]] = set()
    for row, (session, no) in enumerate(frame.select("session", "swing_no").iter_rows()):
        if row in problems:
            continue
        problem = _problem(session, no, header, swings_of, seen)
        if problem is not None:
            problems[row] = problem
        seen.add((session, no))
    refused = [
        refusal(
            reason,
            what,
            _AGAIN,
            session=frame["session"][row],
            file=file,
            line=table.lines[row],
            column=column,
        )
        for row, (reason, what, column) in sorted((r, p) for r, p in problems.items() if r is not None)
    ]
    rows = [line for row, line in enumerate(frame.iter_rows(named=True)) if row not in problems]
    return Shots(rows, refused)


def _problem(
    session: str | None,
    no: int,
    header: SessionHeader | None,
    swings_of: Callable[[str], Collection[int]],
    seen: set[tuple[str, int]],
) -> tuple[str, str, str] | None:
    if session is None:
        return "empty_value", "the line does not name its session", "session"
    if header is not None and session != header.session:
        return "unknown_session", f"the line is about another session, {session}", "session"
    if (session, no) in seen:
        return "shot_twice", f"swing {no} of {session} has two shots", "swing_no"
    if no not in swings_of(session):
        return "unmatched_swing", f"there is no swing {no} in session {session}", "swing_no"
    return None
