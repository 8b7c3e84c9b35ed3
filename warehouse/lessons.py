"""Lessons of a day, from calendars as RFC 5545 has them: entries, and whom of the roster each one names.

A calendar is a file that `calendar` in academy.toml names, what the loader fetched last from an address
there, or an .ics file that was delivered. Nothing is fetched here. Recurrences, exceptions and time zones are
read by the libraries icalendar and recurring-ical-events.
"""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from warehouse.consent import Roster
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.lesson_answers import PREFIX, Answer, key_of, read_answers
from warehouse.settings import ADDRESSES, Settings
from warehouse.sign_in_settings import fold
from warehouse.vocabulary import words

if TYPE_CHECKING:  # the libraries take a quarter of a second, and most starts need neither
    from icalendar import Calendar, Event

KIND = "calendar"  # of a delivery
FETCHED = "calendar.ics"  # in the home: what the loader fetched last
MOST_BYTES, MOST_ENTRIES, MOST_A_DAY = 8 << 20, 20_000, 200
_TOO_OFTEN = {"SECONDLY", "MINUTELY", "HOURLY"}
LEAST_LETTERS = 3  # of a part of a name that makes one think of somebody


@dataclass(frozen=True)
class Entry:
    """One entry of one day: times in the academy's zone (both midnight where it is all day), and its text."""

    uid: str
    start: datetime
    end: datetime
    text: str
    addresses: tuple[str, ...] = ()
    names: tuple[str, ...] = ()  # of those who attend
    sequence: int = 0


@dataclass(frozen=True)
class Lesson:
    """An entry with the students that it names, or, where it is not clear, those it may mean.

    key: of the entry's words, by which a question about it is answered; empty for who may not see them.
    answered: those that it might have meant, where somebody said who comes.
    """

    entry: Entry
    students: tuple[str, ...]
    perhaps: tuple[str, ...] = ()
    key: str = ""
    answered: tuple[str, ...] = ()


@dataclass(frozen=True)
class Named:
    """A student as a calendar may name them: code, name, and their own and their guardians' addresses."""

    student: str
    name: str
    addresses: frozenset[str] = frozenset()


def is_address(calendar: str) -> bool:
    """Whether a calendar is fetched from somewhere else."""
    return calendar.lower().startswith(ADDRESSES)


def check(data: bytes) -> int:
    """Make sure that a calendar can be read, within limits; how many entries it has.

    Raises
        UnderfootError: it can't.
    """
    return len(_parsed(data).walk("VEVENT"))


def lessons(home: Home, settings: Settings, roster: Roster, day: date) -> list[Lesson]:
    """The entries of a day that name a student of that day's roster, or may, in order of time.

    Raises
        UnderfootError: a calendar can't be read.
    """
    found: dict[tuple[str, datetime], Entry] = {}
    files = _files(home, settings, roster)
    answers = read_answers(files)
    for path in (path for path in files if not path.name.startswith(PREFIX)):
        for entry in _day(path, settings, day):
            known = found.get((entry.uid, entry.start))
            if known is None or entry.sequence > known.sequence:
                found[entry.uid, entry.start] = entry
    named = _students(roster, settings, day)
    ordered = sorted(found.values(), key=lambda e: (e.start, e.end, e.uid))
    made = [_answered(match(entry, named), named, answers) for entry in ordered]
    return [lesson for lesson in made if lesson.students or lesson.perhaps]


def _answered(lesson: Lesson, students: Sequence[Named], answers: Mapping[str, Answer]) -> Lesson:
    """A lesson whose question was answered; it is asked anew about somebody who was not asked about then."""
    if not lesson.perhaps:
        return lesson
    key = key_of(lesson.entry.text, lesson.entry.names)
    said = answers.get(key)
    if said is None or not said.perhaps.issuperset(lesson.perhaps):
        return replace(lesson, key=key)
    if said.student is None:
        return Lesson(lesson.entry, ())
    if all(one.student != said.student for one in students):
        return replace(lesson, key=key)
    return Lesson(lesson.entry, (said.student,), key=key, answered=lesson.perhaps)


def of_students(found: Iterable[Lesson], students: Collection[str]) -> list[Lesson]:
    """The lessons of these students, less who else is in them; an entry that names others too has no text."""
    own = []
    for one in found:
        named = {*one.students, *one.perhaps}
        coming, perhaps = (tuple(s for s in part if s in students) for part in (one.students, one.perhaps))
        whole = named.union(one.answered) <= set(students)
        entry = replace(one.entry, text=one.entry.text if whole else "", addresses=(), names=())
        key, answered = (one.key, one.answered) if whole else ("", ())
        own += [Lesson(entry, coming, perhaps, key, answered)] if named & set(students) else []
    return own


def match(entry: Entry, students: Sequence[Named]) -> Lesson:
    """Whom an entry names: by address, else by code or whole name; a part of a name is a question.

    Two students of the same name are a question too.
    """
    by_address = [one.student for one in students if one.addresses & set(entry.addresses)]
    if by_address:
        return Lesson(entry, tuple(by_address))
    said = [words(text) for text in (entry.text, *entry.names)]
    whole = [one for one in students if any(words(one.name) <= w or words(one.student) <= w for w in said)]
    # "Ada Orr" is not meant where "Ada Mae Orr" stands.
    longest = [one for one in whole if not any(words(one.name) < words(other.name) for other in whole)]
    names = [words(one.name) for one in longest]
    if longest and all(names.count(name) == 1 for name in names):
        return Lesson(entry, tuple(one.student for one in longest))
    spoken = frozenset().union(*said)
    perhaps = longest or [
        one
        for one in students
        if any(len(word) >= LEAST_LETTERS and word in spoken for word in words(one.name))
    ]
    return Lesson(entry, (), tuple(one.student for one in perhaps))


def _files(home: Home, settings: Settings, roster: Roster) -> list[Path]:
    """Where the calendars are, those that were delivered by their newest version."""
    rows = roster.sql(
        "SELECT arg_max(delivery, sequence), name FROM academy.delivery WHERE kind = ? "
        "GROUP BY name ORDER BY name",
        [KIND],
    )
    found = [home.filed / delivery / name for delivery, name in rows.iter_rows()]
    if settings.calendar:
        named = home.path / FETCHED if is_address(settings.calendar) else home.path / settings.calendar
        found += [named] if named.is_file() else []
    return found


def _students(roster: Roster, settings: Settings, day: date) -> list[Named]:
    rows = roster.sql(
        "SELECT person, display_name, guardian_of, role FROM academy.person "
        'WHERE joined <= ? AND ("left" IS NULL OR "left" >= ?) ORDER BY display_name, person',
        [day, day],
    ).rows()
    of: dict[str, set[str]] = {}
    for address, person in settings.sign_in.people.items():
        wards = next((list(wards or []) for code, _, wards, _ in rows if code == person), [])
        for student in [person, *(wards if len(wards) == 1 else [])]:
            of.setdefault(student, set()).add(address)
    return [
        Named(person, name, frozenset(of.get(person, ())))
        for person, name, _, role in rows
        if role == "student"
    ]


def _day(path: Path, settings: Settings, day: date) -> tuple[Entry, ...]:
    try:
        facts = path.stat()
        return _entries(path, facts.st_mtime_ns, facts.st_size, settings.time_zone, day)
    except OSError as error:
        raise UnderfootError(f"The calendar {path.name} can't be read ({error.strerror}).") from error


@lru_cache(maxsize=64)
def _entries(path: Path, _mtime_ns: int, _size: int, zone: str, day: date) -> tuple[Entry, ...]:
    with path.open("rb") as file:
        return entries(file.read(MOST_BYTES + 1), ZoneInfo(zone), day)


def entries(data: bytes, zone: ZoneInfo, day: date) -> tuple[Entry, ...]:
    """The entries of a day in a zone; times without a zone of their own are in this one.

    Raises
        UnderfootError: it is no calendar, or repeats beyond measure.
    """
    import recurring_ical_events  # noqa: PLC0415 - see above

    start = datetime.combine(day, time(), zone)
    found: list[Entry] = []
    with _in_words():
        for event in recurring_ical_events.of(_parsed(data)).between(start, start + timedelta(days=1)):
            if str(event.get("STATUS", "")).upper() != "CANCELLED" and len(found) < MOST_A_DAY:
                entry = _entry(event, zone)
                found += [entry] if entry.start.date() <= day <= entry.end.date() else []
    return tuple(found)


@contextmanager
def _in_words() -> Iterator[None]:
    """What the libraries raise over a calendar that breaks the rules, as a sentence."""
    try:
        yield
    except UnderfootError:
        raise
    except Exception as error:
        why = type(error).__name__
        raise UnderfootError(
            f"This is not a calendar that can be read ({why}); export it again as iCalendar (.ics)."
        ) from error


def _parsed(data: bytes) -> "Calendar":
    from icalendar import Calendar  # noqa: PLC0415 - see above

    if len(data) > MOST_BYTES:
        raise UnderfootError(f"A calendar may have {MOST_BYTES >> 20} MB at most; export less of it.")
    with _in_words():
        calendar = Calendar.from_ical(data.decode("utf-8-sig"))
        events = calendar.walk("VEVENT")
        if calendar.name != "VCALENDAR":
            raise ValueError("VCALENDAR")
        if len(events) > MOST_ENTRIES:
            raise UnderfootError(f"The calendar has more than {MOST_ENTRIES:,} entries; export less of it.")
        for event in events:
            _check_rules(event)
    return calendar


def _check_rules(event: Any) -> None:
    rules = event.get("RRULE", [])
    for rule in rules if isinstance(rules, list) else [rules]:
        often = {str(one).upper() for one in rule.get("FREQ", [])}
        if often & _TOO_OFTEN or any(name in rule for name in ("BYSECOND", "BYMINUTE")):
            raise UnderfootError(
                f"The entry “{event.get('SUMMARY', '')}” repeats more than once a day, as no lesson does; "
                "take it out of the calendar."
            )


def _entry(event: "Event", zone: ZoneInfo) -> Entry:
    start, end = _moment(event.start, zone), _moment(event.end, zone)
    if not isinstance(event.start, datetime):
        end = max(start, end - timedelta(days=1))  # the end of an entry of whole days is the day after
    people: list[Any] = [one for key in ("ATTENDEE", "ORGANIZER") for one in _listed(event.get(key))]
    coming = [one for one in people if str(getattr(one, "params", {}).get("PARTSTAT", "")) != "DECLINED"]
    return Entry(
        str(event.get("UID", "")), start, end, str(event.get("SUMMARY", "")),
        tuple(fold(re.sub(r"(?i)^mailto:", "", str(one))) for one in coming),
        tuple(str(one.params["CN"]) for one in coming if "CN" in getattr(one, "params", {})),
        int(event.get("SEQUENCE", 0)),
    )  # fmt: skip


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [] if value is None else [value]


def _moment(at: date, zone: ZoneInfo) -> datetime:
    if not isinstance(at, datetime):
        return datetime.combine(at, time(), zone)
    return at.astimezone(zone) if at.tzinfo is not None else at.replace(tzinfo=zone)
