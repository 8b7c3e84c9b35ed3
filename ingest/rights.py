"""What somebody who delivers through the pages may deliver.

A coach delivers sessions, notes and ball results of students in reach on the day they deliver, under their
own name, and never over a session that another filed; and checks of devices, which are about nobody. A head
coach may do all of that, and deliver rosters.
A student or guardian, or whoever holds a link to a student's page, reports that student's home practice and
what hurts, and delivers nothing else. A session that is filed already is replaced only by a delivery that
names the one it corrects.

What was put into the inbox by whoever keeps the home has no deliverer, and needs no right.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from ingest.refusals import refuse
from warehouse.deliverer import Deliverer
from warehouse.reach import may_write, viewer_of, visible_students
from warehouse.settings import Settings
from warehouse.store import Writer
from warehouse.vocabulary import FAMILY, PACES, STAFF

_ASK = "ask the head coach, who may deliver it"
MOST_REPS = 500  # of one practice that a family reports
_OF_PRACTICE = frozenset({
    "student", "at", "author", "kind", "code", "grade", "value", "unit", "pace", "place", "shared",
})  # fmt: skip
_OF_DISCOMFORT = frozenset({"student", "at", "author", "kind", "code", "text", "shared"})


@dataclass(frozen=True)
class Right:
    """A deliverer's right: their role (None: none that delivers), and the students they may deliver for.

    By a link everyone is a student, whatever the roster makes of the person whose page it opens.
    """

    deliverer: Deliverer
    role: str | None
    students: frozenset[str]

    @property
    def heads(self) -> bool:
        """Whether they may deliver for everyone."""
        return self.role == "head_coach"

    def problem(self, student: str, name: str | None) -> str | None:
        """What speaks against their delivering something about a student under a name, if anything."""
        person = self.deliverer.person
        if self.role not in STAFF:
            return f"{person or 'who delivered it'} is no coach of the academy who may deliver"
        if self.heads:
            return None
        if student not in self.students:
            return f"{student} is not a student whom {person} coaches"
        if name not in (None, person):
            return f"it is under the name of {name}, and {person} delivered it"
        return None

    def problem_of_line(self, line: Mapping[str, Any]) -> tuple[str, str] | None:
        """The column of a line of notes that speaks against their delivering it, and what does; else None."""
        if self.role in FAMILY and line["kind"] in ("practice", "discomfort"):
            return self._report_problem(line)
        for column in ("author", "overruled_by"):
            if (found := self.problem(line["student"], line[column])) is not None:
                return column, found
        return None

    def _report_problem(self, line: Mapping[str, Any]) -> tuple[str, str] | None:
        """What speaks against a family's report: of practice what was done, how often and how it felt."""
        person, student, kind = self.deliverer.person, line["student"], line["kind"]
        if not may_write(kind, self.role, self.students, student):
            return "student", f"{student} is not a student whose {kind} {person} may report"
        if line["author"] != person:
            return "author", f"it is under the name of {line['author']}, and {person} delivered it"
        known = _OF_PRACTICE if kind == "practice" else _OF_DISCOMFORT
        more = sorted(key for key, value in line.items() if key not in known and value not in (None, ""))
        if more:
            return more[0], f"a family's report of {kind} has no {more[0]}"
        if kind == "discomfort":
            return None if line["shared"] else ("shared", "a family's report of discomfort is shared")
        value = line["value"]
        if line["unit"] != "reps" or value is None or not 1 <= value <= MOST_REPS or value % 1:
            return "value", f"a family's report of practice counts 1 to {MOST_REPS} reps"
        if line["pace"] not in PACES or line["place"] != "home" or not line["shared"]:
            return "pace", "a family's report of practice has a pace, is of home, and is shared"
        return None

    def check(self, student: str, name: str | None, **place: Any) -> None:
        """Refuse something about a student under a name.

        Raises
            Refused: they may not deliver it.
        """
        found = self.problem(student, name)
        if found is not None:
            raise refuse("not_yours", found, _ASK, **place)

    def check_roster(self, file: str) -> None:
        """Refuse a file of the roster.

        Raises
            Refused: they are no head coach.
        """
        if not self.heads:
            what = f"{self.deliverer.person} delivered it, and only a head coach delivers files of the roster"
            raise refuse("not_yours", what, "hand it to the head coach", file=file)

    def check_staff(self, file: str) -> None:
        """Refuse a device's recipe, checks of devices or a calendar.

        Raises
            Refused: they are no coach.
        """
        if self.role not in STAFF:
            what = f"{self.deliverer.person or 'who delivered it'} is no coach of the academy"
            raise refuse("not_yours", what, "hand it to a coach", file=file)

    def check_over(self, session: str, filed: Mapping[str, Any]) -> None:
        """Refuse what changes a session that is `filed` already: its student, coach, delivery, delivered_by.

        Where nobody delivered it through the pages, it is the session's coach's.

        Raises
            Refused: its student is out of reach, or another filed it.
        """
        self.check(filed["student"], None, session=session)
        owner = filed["delivered_by"] or filed["coach"]
        if not self.heads and owner != self.deliverer.person:
            what = f"the session is filed already, by {owner or 'somebody else'}"
            raise refuse("not_yours", what, _ASK, session=session)

    def check_correction(self, session: str, filed: Mapping[str, Any]) -> None:
        """Refuse another version of a session that is `filed` already.

        Raises
            Refused: as of `check_over`, or the delivery does not name the one it corrects.
        """
        self.check_over(session, filed)
        if filed["delivery"] not in self.deliverer.corrects:
            what = (
                "a session of this name is filed already, and this delivery does not say that it corrects it"
            )
            todo = "say so where you drop it, or give the session a name of its own, and deliver again"
            raise refuse("correction_unnamed", what, todo, session=session)


def right_of(writer: Writer, settings: Settings, deliverer: Deliverer) -> Right:
    """The right of a deliverer, by the roster as it is, on the day they delivered."""
    try:
        day = datetime.fromisoformat(deliverer.at).astimezone(settings.zone).date()
    except ValueError:
        return Right(deliverer, None, frozenset())
    viewer = viewer_of(writer, deliverer.person, day)
    if viewer is not None and deliverer.link is not None:
        viewer = replace(viewer, role="student", link=deliverer.link)
    if viewer is None:
        return Right(deliverer, None, frozenset())
    return Right(deliverer, viewer.role, frozenset(visible_students(writer, viewer, settings, day)))


def filed_version(writer: Writer, session: str) -> dict[str, Any] | None:
    """The version of a session that is in the warehouse: student, coach, delivery, delivered_by."""
    rows = writer.sql(
        "SELECT s.student, s.coach, s.delivery, d.delivered_by "
        "FROM academy.session s LEFT JOIN academy.delivery d "
        "ON d.delivery = s.delivery AND d.session = s.session WHERE s.session = ? "
        "ORDER BY d.sequence DESC LIMIT 1",
        [session],
    )
    return None if rows.is_empty() else rows.row(0, named=True)
