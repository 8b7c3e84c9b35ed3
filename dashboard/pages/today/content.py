"""What the Today page says: who was seen lately and what that day still lacks, and who is overdue."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

import polars as pl

from dashboard import inbox
from dashboard.kept import kept
from dashboard.section import nonempty
from dashboard.text.catalogue import _
from dashboard.text.numbers import listed, on, quoted
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.lesson_answers import answer_file
from warehouse.lessons import Entry

NO_LESSON = "-"  # beside the codes of students; no code is written so
LATELY = timedelta(days=7)
OVERDUE = timedelta(days=28)  # common practice, no source
_SEEN = """
    WITH last AS (
        SELECT student, max(day) AS day FROM (
            SELECT student, day FROM session UNION ALL
            SELECT student, day FROM note WHERE kind IN ('saw', 'drill', 'plan', 'steadiness', 'felt')
        ) GROUP BY student
    )
    SELECT p.person AS student, p.display_name AS name, p.joined, last.day,
        EXISTS (SELECT 1 FROM note n WHERE n.student = p.person AND n.day = last.day) AS noted,
        EXISTS (SELECT 1 FROM session s WHERE s.student = p.person AND s.day = last.day
            AND (s.has_plate OR s.has_clip)) AS measured,
        EXISTS (SELECT 1 FROM note n WHERE n.student = p.person AND n.day >= last.day
            AND n.kind = 'drill' AND n.place = 'home') AS set_at_home
    FROM person p LEFT JOIN last ON last.student = p.person
    WHERE list_contains(CAST(? AS VARCHAR[]), p.person) AND (p."left" IS NULL OR p."left" >= ?)
    ORDER BY last.day DESC NULLS LAST, p.display_name, p.person
"""


@dataclass(frozen=True)
class Coming:
    """A lesson of today: when, what the calendar says, its students, and whether they are a question.

    key, perhaps: by which the question is or was answered, and between whom; empty where the viewer can't.
    """

    when: str
    text: str
    students: tuple["Line", ...]
    asked: bool
    key: str = ""
    perhaps: tuple[str, ...] = ()


@dataclass(frozen=True)
class Line:
    """One student with what there is to say of them."""

    student: str
    name: str
    sentence: str


def coming(reader: Reader) -> list[Coming]:
    """Today's lessons in order of time; of those that are over, what each student's day still lacks.

    Raises
        UnderfootError: a calendar can't be read.
    """
    known = {row["student"]: row for row in _rows(reader).iter_rows(named=True)}
    now = datetime.now(reader.settings.zone)
    return [
        Coming(
            _when(one.entry),
            one.entry.text,
            tuple(
                _of(reader, known[s], over=one.entry.end <= now)
                for s in (*one.students, *one.perhaps)
                if s in known
            ),
            bool(one.perhaps),
            one.key,
            one.perhaps or one.answered,
        )
        for one in reader.lessons(reader.today)
    ]


def unclear(one: Coming) -> str:
    """One line on an entry that does not make clear whom it means, and what settles it for good."""
    entry = f"{one.when} {quoted(one.text)}" if one.text else one.when
    said = _("{entry}: perhaps {students}. The full name or the code in the calendar makes it clear.")
    if one.key:
        said = _("{entry}: perhaps {students}. Say who is coming; you won't be asked again.")
    return said.format(entry=entry, students=listed([line.name for line in one.students]))


def choices(reader: Reader, one: Coming) -> dict[str, str]:
    """Who may be coming, the likely ones first, or that it is not a lesson: code → words."""
    names = dict(_rows(reader).select("student", "name").sort("name").iter_rows())
    first = {code: names[code] for code in one.perhaps if code in names}
    return {**first, NO_LESSON: _("Not a lesson"), **names}


def answer(reader: Reader, one: Coming, code: str) -> Path:
    """Deliver who comes to all lessons with these words, or that they are not lessons; returns its folder.

    Raises
        AccessError: one of the students in question is out of reach, or the viewer may not deliver.
        OSError: the disk did not take it.
    """
    student = None if code == NO_LESSON else code
    now = inbox.in_reach(reader, *one.perhaps, *([student] if student else []))
    at = datetime.now(UTC)
    return inbox.deliver(now, [answer_file(one.key, one.text, one.perhaps, student, at)])


def _when(entry: Entry) -> str:
    if entry.start.time() == entry.end.time() == time():
        return _("All day")
    return f"{entry.start:%H:%M}–{entry.end:%H:%M}" if entry.end > entry.start else f"{entry.start:%H:%M}"


def _of(reader: Reader, row: dict[str, Any], *, over: bool) -> Line:
    """A student who comes: when they were seen last, or, afterwards, what is missing of today."""
    here: dict[str, object] = (
        row if row["day"] == reader.today else {"noted": False, "measured": False, "set_at_home": False}
    )
    if over:
        return Line(row["student"], row["name"], _lacks(here))
    seen = _("not seen yet") if row["day"] is None else _("last seen on {day}").format(day=on(row["day"]))
    return Line(row["student"], row["name"], seen)


def order(reader: Reader) -> list[str]:
    """Every student in reach in this page's order: who comes today, seen lately, overdue, the rest."""
    try:
        today = [line for one in coming(reader) for line in one.students]
    except UnderfootError:  # no calendar that can be read is said on the page itself
        today = []
    lines = (*today, *lately(reader), *overdue(reader), *others(reader))
    return list(dict.fromkeys(line.student for line in lines))


def lately(reader: Reader) -> list[Line]:
    """Students seen in the last seven days, the latest first, each with what that day still lacks."""
    return [
        Line(
            row["student"], row["name"],
            _("seen on {day}; {missing}").format(day=on(row["day"]), missing=_lacks(row)),
        )
        for row in _rows(reader).iter_rows(named=True)
        if row["day"] is not None and row["day"] >= reader.today - LATELY
    ]  # fmt: skip


def overdue(reader: Reader) -> list[Line]:
    """Students not seen for four weeks, the longest first; who was never seen counts from their first day."""
    found = []
    for row in _rows(reader).iter_rows(named=True):
        since = row["day"] or row["joined"]
        if since is not None and since < reader.today - OVERDUE:
            sentence = _("last seen on {day}") if row["day"] else _("never seen, here since {day}")
            found.append((since, Line(row["student"], row["name"], sentence.format(day=on(since)))))
    return [line for _since, line in sorted(found, key=lambda pair: pair[0])]


def others(reader: Reader) -> list[Line]:
    """Students who are neither: to write a note on whoever comes today."""
    shown = {line.student for line in (*lately(reader), *overdue(reader))}
    return [
        Line(row["student"], row["name"], _("not seen yet") if row["day"] is None else on(row["day"]))
        for row in _rows(reader).iter_rows(named=True)
        if row["student"] not in shown
    ]


@kept
def _rows(reader: Reader) -> pl.DataFrame:
    rows = reader.sql(_SEEN, [reader.students, reader.today])
    return nonempty(rows, _("There is no student yet; a head coach adds them on the People page."))


def _lacks(row: dict[str, object]) -> str:
    """What the day of a student's last visit still lacks, in words."""
    lacks = {
        _("no note"): not row["noted"], _("no measurement"): not row["measured"],
        _("no home practice set"): not row["set_at_home"],
    }  # fmt: skip
    missing = [what for what, lacking in lacks.items() if lacking]
    return listed(missing) if missing else _("nothing is missing")
