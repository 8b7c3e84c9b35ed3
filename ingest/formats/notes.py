"""Coaches' notes (`notes*.csv`, `notes*.jsonl`): kept line by line; a line that breaks a rule is refused."""

import hashlib
import json
from pathlib import Path
from zoneinfo import ZoneInfo

from ingest.academy import day_of
from ingest.formats.format import LineContext, LineFormat, Lines
from ingest.formats.note_rules import Line, NoteRules
from ingest.formats.tables import TableFormat, read_table
from ingest.refusals import refuse
from warehouse.contracts.deliveries import NoteLine

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
