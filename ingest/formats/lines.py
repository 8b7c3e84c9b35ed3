"""Files of lines, notes (`notes*.csv`, `notes*.jsonl`) and ball results (`shots*.csv`), kept line by line."""

import hashlib
import json
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl

from ingest.academy import day_of
from ingest.formats.format import LineContext, LineFormat, Lines, Row
from ingest.formats.note_rules import Line, NoteRules
from ingest.formats.tables import Problem, TableFormat, read_table
from ingest.refusals import refusal, refuse
from warehouse.contracts.deliveries import NoteLine, ShotLine
from warehouse.errors import Refusal

MOST_LINES = 100_000  # a coach's season is some 5,000
_KEYS = (
    "session", "student", "at", "author", "kind", "swing_no", "code", "grade", "value", "value_to",
    "unit", "pace", "place", "text", "shared",
)  # fmt: skip
_LATER_KEYS = ("held", "lost", "announced", "stood_by", "drill", "overruled_by", "kindred", "due")


class Notes(TableFormat, LineFormat):
    """A file of notes; the same content is one note, however often it is there."""

    names = ("notes*.csv", "notes*.jsonl")
    loose = "notes"
    contract = NoteLine
    table = "academy.note"

    def looks_like(self, path: Path) -> bool:
        """JSON lines with a note's columns, or a table of them."""
        if path.suffix.lower() != ".jsonl":
            return super().looks_like(path)
        with path.open("rb") as file:
            first = file.readline(10_000)
        return b'"at"' in first and b'"kind"' in first

    def read(self, data: bytes, file: str, context: LineContext) -> Lines:
        """Rows of academy.note (without delivery and loose) by their key, and the lines refused."""
        lines = data.count(b"\n")
        if lines > MOST_LINES:
            what = f"there are {lines:,} lines but a notes file may have {MOST_LINES:,}"
            raise refuse("too_large", what, "deliver it in several files", file=file)
        zone, header = context.academy.settings.zone, context.header
        table = read_table(data, file, NoteLine, zone)
        rules, bad = NoteRules(context), table.problems
        sessions = table.frame["session"]
        refused = [
            table.refuse_line(row, problem, header.session if header else sessions[row])
            for row, problem in bad.items()
        ]
        kept: dict[str, Line] = {}
        for row, line in enumerate(table.frame.iter_rows(named=True)):
            if row in bad:
                continue
            problem = rules.check(line)
            if problem is None:
                found = _row(line, zone)
                kept.setdefault(found["note"], found | {"file": file, "line": table.lines[row]})
            else:
                refused.append(table.refuse_line(row, problem, line["session"]))
        return Lines(kept, refused)


def _row(line: Line, zone: ZoneInfo) -> Line:
    """A row of academy.note, less where it came from; its key is the hash of its content."""
    drawn = line["drawn_against"]
    later = [f"{key}={line[key]}" for key in _LATER_KEYS if line[key] is not None]
    content = json.dumps([*(str(line[key]) for key in _KEYS), *([] if drawn is None else [drawn]), *later])
    note = hashlib.sha256(content.encode()).hexdigest()[:20]
    row = {key: line[key] for key in (*_KEYS, *_LATER_KEYS)}
    return row | {"drawn_against": drawn, "note": note, "day": day_of(line["at"], zone)}


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
                problem = _shot_problem(session, no, context, seen)
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


def _shot_problem(
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
