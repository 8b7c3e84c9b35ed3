"""What the People page says of the roster: who is there, and what is missing with what that costs."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from dashboard.queries import people
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import HANDS, PURPOSES, ROLES
from dashboard.text.numbers import listed, on
from warehouse.access import Reader
from warehouse.vocabulary import STAFF, is_minor

Row = dict[str, Any]
FIELDS = Words({
    "display_name": "Name", "role": "Role", "born": "Birth date", "handed": "Right or left handed",
    "foot_length_mm": "Foot length", "level": "Level", "guardian_of": "Guardian of", "joined": "First day",
    "left": "Last day",
})  # fmt: skip
SHORTEST_FOOT_MM, LONGEST_FOOT_MM = 120.0, 400.0


@dataclass(frozen=True)
class Person:
    """One person as the roster has them: the row that a change starts from, and what is missing of it."""

    row: Row
    missing: tuple[str, ...]

    @property
    def name(self) -> str:
        """Their name on screen."""
        return str(self.row["display_name"])


def rows(reader: Reader) -> dict[str, Row]:
    """Everybody's row by code, those who are here before those who have left, by name."""
    found = reader.sql(
        """
        SELECT person, role, display_name, born, handed, foot_length_mm, level, guardian_of, joined, "left"
        FROM person
        ORDER BY coalesce("left" < ?, false),
            list_position(['student', 'coach', 'head_coach', 'guardian'], role),
            display_name, person
        """,
        [reader.today],
    )
    return {row["person"]: row for row in found.iter_rows(named=True)}


def person(reader: Reader, code: str) -> Person:
    """One person with what is missing."""
    row = rows(reader)[code]
    return Person(row, tuple(missing(Known.of(reader), row)))


@dataclass(frozen=True)
class Known:
    """What is known of all students beside their own rows; read once, however many there are."""

    reader: Reader
    guarded: set[str]
    coaches: dict[str, str]  # student → name of their coach today
    measured: set[str]  # who agreed to be measured
    filmed: set[str]

    @classmethod
    def of(cls, reader: Reader) -> "Known":
        """As of today."""
        coached = people.students(reader).drop_nulls("coach").select("student", "coach_name")
        guarded = {student for row in rows(reader).values() for student in row["guardian_of"] or []}
        return cls(
            reader, guarded, dict(coached.iter_rows()),
            people.agreed(reader, "measure"), people.agreed(reader, "film"),
        )  # fmt: skip


def missing(known: Known, row: Mapping[str, Any]) -> list[str]:
    """What the roster lacks of somebody who is here, each with what that costs."""
    reader, code = known.reader, row["person"]
    if row["role"] != "student" or (row["left"] is not None and row["left"] < reader.today):
        return []
    young = is_minor(row["born"], reader.today, reader.settings.minor_until_age)
    found = {
        _("no birth date: counts as a minor, and drills with an age are not offered"): row["born"] is None,
        _("not known whether right or left handed: left and right columns can't be read"): not row["handed"],
        _("no foot length: pressure positions in mm or inches can't be read"): not row["foot_length_mm"],
        _("no coach: only the head coach sees them"): code not in known.coaches,
        _("a minor without a guardian: nobody can consent for them or see their page"): young
        and row["born"] is not None
        and code not in known.guarded,
        _("no consent to measure: sessions on plates are not loaded"): code not in known.measured,
        _("no consent to film: films are not loaded"): code not in known.filmed,
    }
    return [what for what, lacks in found.items() if lacks]


def table(reader: Reader) -> pl.DataFrame:
    """Everybody, with how much is missing."""
    known = Known.of(reader)
    return pl.DataFrame(
        [
            {
                _("Name"): row["display_name"],
                _("Role"): ROLES.get(row["role"], row["role"]),
                _("Missing"): str(len(missing(known, row)) or ""),
                _("Coach"): known.coaches.get(code),
                _("Level"): row["level"],
                _("Last day"): row["left"],
                _("Code"): code,
            }
            for code, row in rows(reader).items()
        ],
        schema_overrides={
            _("Coach"): pl.String,
            _("Level"): pl.String,
            _("Last day"): pl.Date,
        },
    )


def coaching(reader: Reader, student: str) -> pl.DataFrame:
    """Who coaches a student from when to when, the newest first."""
    return reader.sql(
        'SELECT student, coach, "from", "to" FROM coaching WHERE student = ? ORDER BY "from" DESC, coach',
        [student],
    )


def consents(reader: Reader, student: str) -> pl.DataFrame:
    """A student's consents, the newest first."""
    return reader.sql(
        'SELECT student, given_by, purpose, "from", "to" FROM consent WHERE student = ? '
        'ORDER BY "from" DESC, purpose',
        [student],
    )


def givers(reader: Reader, student: str) -> dict[str, str]:
    """Who may consent for a student: their guardians, and themselves once they are of age; name by code."""
    everyone = rows(reader)
    own = everyone[student]
    found = {
        code: str(row["display_name"])
        for code, row in everyone.items()
        if student in (row["guardian_of"] or [])
    }
    young = is_minor(own["born"], reader.today, reader.settings.minor_until_age)
    return found if young else {student: str(own["display_name"]), **found}


def coaches(reader: Reader) -> dict[str, str]:
    """The coaches who are here, name by code."""
    return {
        code: str(row["display_name"])
        for code, row in rows(reader).items()
        if row["role"] in STAFF and (row["left"] is None or row["left"] >= reader.today)
    }


def coaching_words(reader: Reader, span: Mapping[str, Any]) -> str:
    """Who coached from when to when, in words."""
    name = coaches(reader).get(span["coach"]) or rows(reader)[span["coach"]]["display_name"]
    return _("{coach}: from {first}, {until}").format(
        coach=name, first=on(span["from"]), until=_until(span["to"])
    )


def consent_words(line: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """A consent in words."""
    return _("{purpose}: given by {giver}, from {first}, {until}").format(
        purpose=PURPOSES.get(line["purpose"], line["purpose"]),
        giver=names.get(line["given_by"], line["given_by"]), first=on(line["from"]),
        until=_until(line["to"]),
    )  # fmt: skip


def _until(day: date | None) -> str:
    return _("until {day}").format(day=on(day)) if day else _("with no end date")


def value_words(name: str, value: Any) -> str:
    """A value of one of `FIELDS` in words."""
    if value in (None, "", []):
        return _("empty")
    if isinstance(value, date):
        return on(value)
    if isinstance(value, list):
        return listed(value)
    return {"handed": HANDS, "role": ROLES}.get(name, {}).get(value, str(value))
