"""A list of students as somebody has it: which column is what, and each student with what is odd about them.

Nothing is guessed: what can't be read for sure is left empty and said.
"""

import re
import tomllib
import unicodedata
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

from dashboard.text.catalogue import Words, _
from warehouse.rosters import new_codes
from warehouse.settings import Settings
from warehouse.vocabulary import age, is_minor

NAME, FIRST, LAST, BORN, HANDED, FOOT, LEVEL, COACH, GUARDIAN, JOINED = (
    "name", "first", "last", "born", "handed", "foot", "level", "coach", "guardian", "joined",
)  # fmt: skip
UNUSED = ""
COLUMNS = Words({
    "name": "Name", "first": "First name", "last": "Last name", "born": "Birth date",
    "handed": "Right or left handed",
    "foot": "Foot length", "level": "Level", "coach": "Coach", "guardian": "Guardian", "joined": "Joined",
})  # fmt: skip
_WORDS = tomllib.loads(Path(__file__).with_name("student_columns.toml").read_text("utf-8"))
FOOT_MM, FOOT_CM = (150.0, 350.0), (15.0, 35.0)
OLDEST = 110


@dataclass(frozen=True)
class Columns:
    """Which of our columns each of theirs is ("" for none), and whether the first row is a header."""

    ours: tuple[str, ...]
    header: tuple[str, ...] | None


@dataclass(frozen=True)
class Student:
    """One student of the list, with what is odd, in words."""

    name: str
    born: date | None = None
    handed: str | None = None
    foot_length_mm: float | None = None
    level: str | None = None
    coach: str | None = None
    guardian: str | None = None
    joined: date | None = None
    oddities: tuple[str, ...] = ()


@dataclass
class _Reading:
    """What reading the cells of one row shares."""

    day_first: bool | None
    today: date
    odd: list[str] = field(default_factory=list)


def recognise(rows: Sequence[Sequence[str]]) -> Columns:
    """Which column is what, by the header; a list without one has its names first."""
    if not rows:
        return Columns((), None)
    width = max(map(len, rows))
    head = [*rows[0], *[""] * (width - len(rows[0]))]
    ours: list[str] = []
    for cell in head:
        found = next(
            (c for c, words in _WORDS["headers"].items() if _is_header(cell, words) and c not in ours), UNUSED
        )
        ours.append(found)
    if any(ours) and (NAME in ours or LAST in ours or FIRST in ours):
        return Columns(tuple(ours), tuple(head))
    return Columns((NAME, *[UNUSED] * (width - 1)), None)


def day_order(rows: Sequence[Sequence[str]], columns: Columns) -> bool | None:
    """Whether days such as 03/04/2012 have the day first, where one of the list's shows it; else None."""
    seen = set()
    for row in _body(rows, columns):
        for ours, cell in zip(columns.ours, row, strict=False):
            found = _NUMBERS.fullmatch(cell) if ours in (BORN, JOINED) else None
            if found and (int(found[1]) > 12) != (int(found[2]) > 12):
                seen.add(int(found[1]) > 12)
    return seen.pop() if len(seen) == 1 else None


def needs_day_order(rows: Sequence[Sequence[str]], columns: Columns) -> bool:
    """Whether a day of the list can't be read before somebody says whether the day or the month is first."""
    if day_order(rows, columns) is not None:
        return False
    return any(
        ours in (BORN, JOINED) and (found := _NUMBERS.fullmatch(cell)) and found[1] != found[2]
        and found[0][len(found[1])] != "."
        for row in _body(rows, columns)
        for ours, cell in zip(columns.ours, row, strict=False)
    )  # fmt: skip


def students(
    rows: Sequence[Sequence[str]], columns: Columns, today: date, *, day_first: bool | None = None,
    taken: Collection[str] = (), coaches: Collection[str] | None = None,
) -> list[Student]:  # fmt: skip
    """The students of a list. `taken` are names that are on the roster; `coaches` those a list may name."""
    order = day_first if day_first is not None else day_order(rows, columns)
    found = [s for row in _body(rows, columns) if (s := _student(row, columns, _Reading(order, today)))]
    times = Counter(_folded(s.name) for s in found)
    known = set(map(_folded, taken))
    staff = None if coaches is None else set(map(_folded, coaches))
    return [_among_others(s, times, known, staff) for s in found]


def _among_others(
    student: Student, times: Mapping[str, int], known: Collection[str], staff: Collection[str] | None
) -> Student:
    """A student with what is odd about them beside the rest of the list, the roster and the coaches."""
    odd = list(student.oddities)
    if staff is not None and student.coach and _folded(student.coach) not in staff:
        odd.append(_("{name} is not one of the coaches above").format(name=student.coach))
    if times[_folded(student.name)] > 1:
        odd.append(_("this name is in the list more than once"))
    if _folded(student.name) in known:
        odd.append(_("this name is on the roster already"))
    return replace(student, oddities=tuple(odd))


def _student(row: Sequence[str], columns: Columns, reading: _Reading) -> Student | None:
    cells: dict[str, str] = {}
    for ours, cell in zip(columns.ours, row, strict=False):
        if ours and cell:
            cells.setdefault(ours, cell)
    name = cells.get(NAME) or " ".join(cells[part] for part in (FIRST, LAST) if part in cells)
    if not name:
        return None
    if re.fullmatch(r"[\d\W]+", name):
        reading.odd.append(_("the name has no letters"))
    if "," in name and NAME in cells:
        last, _comma, first = name.partition(",")
        name = f"{first.strip()} {last.strip()}".strip()
    born = _day(cells.get(BORN), _("birth date"), reading)
    if born is not None and not 2 <= (age(born, reading.today) or 0) <= OLDEST:
        reading.odd.append(_("birth date {day} can't be a player's; left empty").format(day=born))
        born = None
    unit = _foot_unit(columns)
    handed, foot = _hand(cells.get(HANDED), reading), _foot(cells.get(FOOT), unit, reading)
    joined = _day(cells.get(JOINED), _("first day"), reading)
    return Student(
        name, born, handed, foot, cells.get(LEVEL), cells.get(COACH), cells.get(GUARDIAN), joined,
        tuple(reading.odd),
    )  # fmt: skip


_NUMBERS = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})\.?")


def _day(cell: str | None, what: str, reading: _Reading) -> date | None:
    """A day as 2012-04-03, 3.4.2012, or 03/04/2012 where the order is known."""
    if not cell:
        return None
    found = _NUMBERS.fullmatch(cell)
    with suppress(ValueError):
        if re.match(r"\d{4}-\d{2}-\d{2}", cell):
            return date.fromisoformat(cell[:10])
        if found and len(found[3]) == len("2012"):
            first, second, year = int(found[1]), int(found[2]), int(found[3])
            day_first = True if "." in cell or first == second else reading.day_first
            if day_first is not None:
                return date(year, second, first) if day_first else date(year, first, second)
            sentence = _("{what} {cell}: choose above whether the day or the month is first")
            reading.odd.append(sentence.format(what=what, cell=cell))
            return None
    reading.odd.append(_("{what} “{cell}” is not read; write it as 2012-04-03").format(what=what, cell=cell))
    return None


def _hand(cell: str | None, reading: _Reading) -> str | None:
    if not cell:
        return None
    said = _folded(cell).replace("-", " ")
    for hand, words in _WORDS["handed"].items():
        if said in words:
            return str(hand)
    reading.odd.append(_("handed “{cell}” is not read; write right or left").format(cell=cell))
    return None


def _foot_unit(columns: Columns) -> str | None:
    """The unit that the header of the foot length gives."""
    if columns.header is None or FOOT not in columns.ours:
        return None
    words = re.findall(r"[a-z]+", columns.header[columns.ours.index(FOOT)].lower())
    return next((unit for unit in ("mm", "cm") if unit in words), None)


def _foot(cell: str | None, unit: str | None, reading: _Reading) -> float | None:
    """A foot length in mm: mm and cm can't be taken for one another; a shoe size is no length."""
    if not cell:
        return None
    found = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(mm|cm)?", cell.lower())
    if found:
        value = float(found[1].replace(",", "."))
        said = found[2] or unit
        if said in (None, "mm") and FOOT_MM[0] <= value <= FOOT_MM[1]:
            return value
        # A small number without a unit may be cm or a child's shoe size.
        if said == "cm" and FOOT_CM[0] <= value <= FOOT_CM[1]:
            return round(value * 10, 1)
    reading.odd.append(
        _(
            "foot length “{cell}” is not read; write it in mm or cm with the unit, a shoe size is no length"
        ).format(cell=cell)
    )
    return None


def _body(rows: Sequence[Sequence[str]], columns: Columns) -> Sequence[Sequence[str]]:
    return rows[1:] if columns.header is not None else rows


def _is_header(cell: str, words: Sequence[str]) -> bool:
    said = re.sub(r"[^a-z ]+", " ", _folded(cell))
    said = re.sub(r"\b(mm|cm|of|the)\b", " ", said) if said not in words else said
    return " ".join(said.split()) in words or said.strip() in words


def _folded(text: str) -> str:
    """Small letters without accents."""
    text = text.lower().replace("ä", "ae").replace("ö", "oe").replace("ü", "ue").replace("ß", "ss")
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c)).strip()


@dataclass(frozen=True)
class RosterRows:
    """Lines of roster files for new people; who is not covered by a consent, as nobody can have given it."""

    people: list[dict[str, Any]]
    coaching: list[dict[str, Any]]
    consents: list[dict[str, Any]]
    without_consent: list[str]


@dataclass(frozen=True)
class Staff:
    """The coaches there are, code by name, and whose students are those that name none (None: nobody's)."""

    coaches: Mapping[str, str]
    usual: str | None

    def code(self, name: str | None) -> str | None:
        """The coach of a name as it is in a list."""
        folded = {_folded(known): code for known, code in self.coaches.items()}
        return self.usual if name is None else folded.get(_folded(name))


def roster_rows(
    found: Sequence[Student], staff: Staff, taken: Collection[str], today: date, *,
    agreed: Sequence[str] = (),
) -> RosterRows:  # fmt: skip
    """Lines for these students; a guardian is a person of their own.

    `agreed` are purposes to which every student of the list has consented. A guardian consents for a minor;
    without a birth date a student counts as one. `taken` are codes that are in use.
    """
    codes, guardian_codes = new_codes("student", taken), new_codes("guardian", taken)
    rows = RosterRows([], [], [], [])
    guardians: dict[str, dict[str, Any]] = {}
    for student in found:
        code, joined = next(codes), student.joined or today
        rows.people.append(
            {"person": code, "role": "student", "display_name": student.name, "born": student.born,
             "handed": student.handed, "foot_length_mm": student.foot_length_mm, "level": student.level,
             "joined": joined}
        )  # fmt: skip
        coach = staff.code(student.coach)
        if coach is not None:
            rows.coaching.append({"student": code, "coach": coach, "from": joined})
        giver = None if is_minor(student.born, today, Settings.minor_until_age) else code
        if student.guardian:
            key = _folded(student.guardian)
            if key not in guardians:
                guardians[key] = {
                    "person": next(guardian_codes), "display_name": student.guardian, "role": "guardian",
                    "joined": joined, "guardian_of": [],
                }  # fmt: skip
            guardian = guardians[key]
            guardian["guardian_of"].append(code)
            giver = giver or guardian["person"]
        if agreed and giver is None:
            rows.without_consent.append(student.name)
        rows.consents.extend(
            {"student": code, "given_by": giver, "purpose": purpose, "from": joined}
            for purpose in (agreed if giver else ())
        )
    rows.people.extend(guardians.values())
    return rows
