"""Whom each person of the academy reaches: the students whose rows they may read."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from warehouse import consent
from warehouse.consent import Roster
from warehouse.errors import CallError
from warehouse.settings import Settings
from warehouse.vocabulary import FAMILY, ROLES, STAFF, is_minor

# Who writes what about a student in reach. Whoever came by a link is a student, of that one page.
_WRITERS = {
    "session": STAFF,
    "note": STAFF,
    "practice": FAMILY,  # their own report of it; a coach writes a note
    "discomfort": FAMILY,  # what hurts, as they say it
    "film": FAMILY,  # it waits for a coach
    "film_decision": STAFF,
}
WRITINGS = tuple(_WRITERS)


@dataclass(frozen=True)
class Viewer:
    """One person looking: who they are and in which role."""

    person: str
    role: str
    display_name: str
    link: str | None = None  # came by a link, not by signing in: its name


def viewers(roster: Roster) -> list[Viewer]:
    """Everyone who could look, staff first; for the demo academy's "look as"."""
    rows = roster.sql(
        "SELECT person, role, display_name FROM academy.person "
        "ORDER BY list_position(['head_coach', 'coach', 'student', 'guardian'], role), display_name, person"
    )
    return [Viewer(*row) for row in rows.iter_rows()]


def visible_students(roster: Roster, viewer: Viewer, settings: Settings, today: date) -> list[str]:
    """The students whose rows this viewer may read.

    A head coach: all. A coach: those they coach today. A student: themselves. A guardian: their wards, until
    the day each comes of age (`minor_until_age`), unless the birth date is not known or the consent to
    family_page has ended. A link: the one it was made for, whatever else they are.
    """
    if viewer.link is not None:
        return [viewer.person]
    if viewer.role == "head_coach":
        found = roster.sql("SELECT person FROM academy.person WHERE role = 'student'")
    elif viewer.role == "coach":
        found = roster.sql(
            "SELECT DISTINCT p.person FROM academy.coaching c JOIN academy.person p ON p.person = c.student "
            "WHERE p.role = 'student' AND c.coach = ? AND c.\"from\" <= ? "
            'AND (c."to" IS NULL OR c."to" >= ?)',
            [viewer.person, today, today],
        )
    elif viewer.role == "guardian":
        wards = roster.sql(
            "SELECT p.person, p.born FROM academy.person g JOIN academy.person p "
            "ON list_contains(g.guardian_of, p.person) WHERE g.person = ? AND p.role = 'student'",
            [viewer.person],
        )
        years, withheld = settings.minor_until_age, consent.withheld(roster, today, settings)
        return sorted(
            ward
            for ward, born in wards.iter_rows()
            if born is not None and is_minor(born, today, years) and (ward, "family_page") not in withheld
        )
    else:
        found = roster.sql(
            "SELECT person FROM academy.person WHERE person = ? AND role = 'student'", [viewer.person]
        )
    return sorted(found.to_series().to_list())


def may_write(what: str, role: str | None, students: Collection[str], student: str) -> bool:
    """Whether somebody in this role, who reaches these students, may write this (of `WRITINGS`) about one."""
    return role in _WRITERS[what] and student in students


def viewer_of(roster: Roster, person: str, day: date) -> Viewer | None:
    """Someone of the roster in the role it gives them; None when it has no such person, or they have left."""
    rows = roster.sql(
        "SELECT person, role, display_name FROM academy.person "
        'WHERE person = ? AND ("left" IS NULL OR "left" >= ?)',
        [person, day],
    )
    return None if rows.is_empty() or rows.item(0, "role") not in ROLES else Viewer(*rows.row(0))


def head_coach(roster: Roster, day: date) -> str | None:
    """The academy's head coach on a day, the first to join where there are several; None: there is none."""
    rows = roster.sql(
        "SELECT person FROM academy.person WHERE role = 'head_coach' "
        'AND ("left" IS NULL OR "left" >= ?) ORDER BY joined, person LIMIT 1',
        [day],
    )
    return None if rows.is_empty() else str(rows.item())


def students_on(roster: Roster, day: date) -> list[str]:
    """Everyone who is a student on a day, by their codes."""
    rows = roster.sql(
        "SELECT person FROM academy.person WHERE role = 'student' "
        'AND ("left" IS NULL OR "left" >= ?) ORDER BY person',
        [day],
    )
    return rows.to_series().to_list()


def coach_of(roster: Roster, student: str, day: date) -> str | None:
    """Who coaches a student on a day, the newest of several; else the head coach; None: neither is there."""
    rows = roster.sql(
        "SELECT c.coach FROM academy.coaching c JOIN academy.person p ON p.person = c.coach "
        'WHERE c.student = $1 AND c."from" <= $2 AND (c."to" IS NULL OR c."to" >= $2) '
        'AND (p."left" IS NULL OR p."left" >= $2) ORDER BY c."from" DESC, c.coach LIMIT 1',
        [student, day],
    )
    return head_coach(roster, day) if rows.is_empty() else str(rows.item())


def check_student(roster: Roster, student: str) -> None:
    """Make sure that a student of this code is on the roster.

    Raises
        CallError: nobody has this code, or its person is no student.
    """
    found = roster.sql("SELECT role FROM academy.person WHERE person = ?", [student])
    if found.is_empty():
        raise CallError(f"There is no student {student}; name one of people.csv.")
    if found.item() != "student":
        raise CallError(f"{student} is a {found.item()} in people.csv, and only students can be named here.")
