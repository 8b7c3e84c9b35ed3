"""Ball results (`shots*.csv`): one row a swing, of a session or loose; a bad line is refused alone."""

import polars as pl

from ingest.formats.format import LineContext, LineFormat, Lines, Row
from ingest.formats.tables import Problem, TableFormat, read_table
from ingest.refusals import refusal
from warehouse.contracts.deliveries import ShotLine
from warehouse.errors import Refusal


class Shots(TableFormat, LineFormat):
    """A file of ball results."""

    names = ("shots*.csv",)
    loose = "shots"
    contract = ShotLine
    table = "academy.shot"

    def read(self, data: bytes, file: str, context: LineContext) -> Lines:
        """Rows of academy.shot (without delivery and loose) by session and swing, and the lines refused."""
        table = read_table(data, file, ShotLine, context.academy.settings.zone)
        frame, problems = table.frame, table.problems
        if context.header is not None:
            frame = frame.with_columns(pl.col("session").fill_null(context.header.session))
        seen: set[tuple[str, int]] = set()
        for row, (session, no) in enumerate(frame.select("session", "swing_no").iter_rows()):
            if row not in problems:
                problem = _problem(session, no, context, seen)
                problems |= {} if problem is None else {row: problem}
                seen.add((session, no))
        refused = [
            table.refuse_line(row, problem, frame["session"][row])
            for row, problem in sorted(problems.items())
        ]
        good = (line for row, line in enumerate(frame.iter_rows(named=True)) if row not in problems)
        return Lines({(line["session"], line["swing_no"]): line for line in good}, refused)

    def duplicate(self, row: Row, first: str, file: str) -> Refusal | None:
        """A swing has one shot, in whichever file."""
        what = f"swing {row['swing_no']} has two shots, the other in {first}"
        todo = "take one of the two out and deliver the session again"
        return refusal("shot_twice", what, todo, session=row["session"], file=file, column="swing_no")


def _problem(
    session: str | None, no: int, context: LineContext, seen: set[tuple[str, int]]
) -> Problem | None:
    header = context.header
    if session is None:
        return "empty_value", "the line does not name its session", "session"
    if header is not None and session != header.session:
        return "unknown_session", f"the line is about another session, {session}", "session"
    if (session, no) in seen:
        return "shot_twice", f"swing {no} of {session} has two shots", "swing_no"
    if no not in context.swings_of(session):
        return "unmatched_swing", f"there is no swing {no} in session {session}", "swing_no"
    return None
