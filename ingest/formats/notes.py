"""Coaches' notes (`notes*.csv`, `notes*.jsonl`): kept line by line; a line that breaks a rule is refused."""

import hashlib
import json
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from ingest.academy import day_of
from ingest.formats.format import LineContext, LineFormat, Lines
from ingest.formats.tables import Problem, TableFormat, read_table
from ingest.refusals import refuse, shown
from warehouse.contracts.deliveries import NoteLine
from warehouse.vocabulary import DIRECTIONS, DOSE_UNITS, EYES

MOST_LINES = 100_000  # a coach's season is some 5,000
_KEYS = (
    "session", "student", "at", "author", "kind", "swing_no", "code", "grade", "value", "value_to",
    "unit", "pace", "place", "text", "shared",
)  # fmt: skip

Line = dict[str, Any]


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
        rules, bad = _Rules(context), table.problems
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
                kept.setdefault(found["note"], found)
            else:
                refused.append(table.refuse_line(row, problem, line["session"]))
        return Lines(kept, refused)


class _Rules:
    """Settles who and which session a line is about, and checks what its kind needs."""

    def __init__(self, context: LineContext) -> None:
        self.context, self.academy, self.header = context, context.academy, context.header

    def check(self, line: Line) -> Problem | None:
        rules = (self._whose, self._author, self._swing, self._kind, self._lot)
        return next((problem for rule in rules if (problem := rule(line)) is not None), None)

    def _whose(self, line: Line) -> Problem | None:
        owner: str | None = None
        if self.header is not None:
            if line["session"] not in (None, self.header.session):
                return "unknown_session", f"the line is about another session, {line['session']}", "session"
            line["session"] = self.header.session
            owner = self.header.student
        elif line["session"] is not None:
            owner = self.context.session_student(line["session"])
            if owner is None:
                return "unknown_session", f"there is no session {line['session']} in the warehouse", "session"
        if owner is not None and line["student"] not in (None, owner):
            what = f"session {line['session']} is {owner}'s, not {line['student']}'s"
            return "unknown_person", what, "student"
        line["student"] = line["student"] or owner
        if line["student"] is None:
            return "empty_value", "the line names neither a session nor a student", "student"
        person = self.academy.people.get(line["student"])
        if person is None or person.role != "student":
            return "unknown_person", f"student {line['student']} is not a student in people.csv", "student"
        return None

    def _author(self, line: Line) -> Problem | None:
        if line["author"] not in self.academy.people:
            return "unknown_person", f"author {line['author']} is not in people.csv", "author"
        line["shared"] = bool(line["shared"])
        return None

    def _swing(self, line: Line) -> Problem | None:
        no = line["swing_no"]
        if no is None:
            return None
        if line["session"] is None or no not in self.context.swings_of(line["session"]):
            return "unmatched_swing", f"swing {no} is not a swing of the line's session", "swing_no"
        return None

    def _kind(self, line: Line) -> Problem | None:
        rule = {
            "saw": self._saw, "drill": self._dose, "practice": self._dose, "steadiness": _steadiness,
            "target": self._target, "plan": _text,
        }.get(line["kind"], _code)  # fmt: skip
        return rule(line)

    def _saw(self, line: Line) -> Problem | None:
        if line["code"] not in self.academy.faults:
            return "unknown_value", f"{shown(line['code'])} is not a fault code", "code"
        if line["grade"] not in (1, 2, 3):
            return "out_of_range", f"grade is {shown(line['grade'])} but must be 1 to 3", "grade"
        return None

    def _dose(self, line: Line) -> Problem | None:
        if line["code"] not in self.academy.drills:
            return "unknown_drill", f"drill {shown(line['code'])} is not in drills.csv", "code"
        if line["value"] is not None and not 0 < line["value"] <= 10_000:
            what = f"value is {line['value']:g} but must be a count of reps or minutes"
            return "out_of_range", what, "value"
        line["unit"] = line["unit"] or "reps"
        if line["unit"] not in DOSE_UNITS:
            return "unknown_value", f"unit is {shown(line['unit'])} but must be reps or minutes", "unit"
        line["place"] = line["place"] or ("home" if line["kind"] == "practice" else "lesson")
        return None

    def _lot(self, line: Line) -> Problem | None:
        """Drills assigned by random draw: the one drawn is the code, `drawn_against` the other."""
        lost = line["drawn_against"]
        if lost is None:
            return None
        if line["kind"] not in ("plan", "drill"):
            what = f"a random draw assigns a plan or a drill, not a {line['kind']} line"
            return "unknown_value", what, "drawn_against"
        for drill, column in ((line["code"], "code"), (lost, "drawn_against")):
            if drill not in self.academy.drills:
                return "unknown_drill", f"drill {shown(drill)} is not in drills.csv", column
        if lost == line["code"]:
            return "unknown_value", f"drill {lost} can't be the other drill of its own draw", "drawn_against"
        return None

    def _target(self, line: Line) -> Problem | None:
        if line["code"] not in self.academy.metrics:
            return "unknown_value", f"{shown(line['code'])} is not a metric", "code"
        low, high = line["value"], line["value_to"]
        if low is None and high is None:
            return "empty_value", "a target needs value, value_to or both", "value"
        if low is not None and high is not None and low >= high:
            return "out_of_range", f"the target runs from {low:g} to {high:g}, which is no span", "value_to"
        return None


def _steadiness(line: Line) -> Problem | None:
    if line["code"] not in DIRECTIONS:
        return "unknown_value", f"code is {shown(line['code'])} but must be {', '.join(DIRECTIONS)}", "code"
    if line["grade"] not in (0, 1):
        what = f"grade is {shown(line['grade'])} but must be 0 (held) or 1 (lost)"
        return "out_of_range", what, "grade"
    line["unit"] = (line["unit"] or "open").lower().removeprefix("eyes").strip()
    if line["unit"] not in EYES:
        return "unknown_value", f"unit is {shown(line['unit'])} but must be eyes open or eyes closed", "unit"
    return None


def _text(line: Line) -> Problem | None:
    return None if line["text"] or line["code"] else ("empty_value", "the line says nothing", "text")


def _code(line: Line) -> Problem | None:
    return None if line["code"] else ("empty_value", f"a {line['kind']} line needs a code", "code")


def _row(line: Line, zone: ZoneInfo) -> Line:
    """A row of academy.note, less where it came from; its key is the hash of its content."""
    drawn = line["drawn_against"]
    content = json.dumps([*(str(line[key]) for key in _KEYS), *([] if drawn is None else [drawn])])
    note = hashlib.sha256(content.encode()).hexdigest()[:20]
    row = {key: line[key] for key in _KEYS}
    return row | {"drawn_against": drawn, "note": note, "day": day_of(line["at"], zone)}
