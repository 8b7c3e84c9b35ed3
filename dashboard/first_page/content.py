"""What is made of what was typed on the first page, or given to `underfoot new`: a new academy, once."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from dashboard import spreadsheet, student_list
from dashboard.student_list import Staff, Student, roster_rows
from dashboard.text.catalogue import _
from dashboard.text.numbers import count
from warehouse import founding
from warehouse.errors import CallError
from warehouse.founding import NewAcademy, found, starter_drills, this_year
from warehouse.home import Home
from warehouse.rosters import new_codes


class Founder(Protocol):
    """Whoever may make the academy: they started the pages, on this machine."""

    def check(self) -> None:
        """Make sure that they still may.

        Raises
            AccessError: they may not.
        """


@dataclass(frozen=True)
class Typed:
    """What was typed on the first page."""

    name: str
    time_zone: str
    head_coach: str
    season: tuple[str, date, date]
    coaches: Sequence[str] = ()
    students: Sequence[Student] = ()
    coach_of_the_rest: str | None = None  # by name; None: the head coach
    kept_elsewhere: bool = False
    agreed: Sequence[str] = ()
    open_question: str = ""  # what a list leaves open, in words
    drills: Collection[str] = field(default_factory=lambda: [drill.code for drill in starter_drills()])

    @property
    def staff(self) -> list[str]:
        """The names of the head coach and the coaches, each once."""
        return list(dict.fromkeys(" ".join(n.split()) for n in (self.head_coach, *self.coaches) if n.strip()))

    def missing(self) -> list[str]:
        """What is still needed before an academy can be made, in words."""
        needed = {
            _("the academy's name"): self.name.strip(), _("your name"): self.head_coach.strip(),
            _("the season's name"): self.season[0].strip(),
        }  # fmt: skip
        found = [what for what, given in needed.items() if not given]
        return [*found, self.open_question] if self.open_question else found

    def academy(self, today: date) -> NewAcademy:
        """The academy that it makes, with a code for everybody.

        Raises
            CallError: something is still missing.
        """
        if missing := self.missing():
            raise CallError(_("Still missing: {what}.").format(what=", ".join(missing)))
        codes = new_codes("coach", ())
        coaches = {name: next(codes) for name in self.staff}
        usual = coaches.get(self.coach_of_the_rest or "", next(iter(coaches.values())))
        rows = roster_rows(
            self.students, Staff(coaches, usual), coaches.values(), today,
            agreed=() if self.kept_elsewhere else self.agreed,
        )  # fmt: skip
        roles = dict.fromkeys(coaches.values(), "coach") | {next(iter(coaches.values())): "head_coach"}
        staff = [
            {"person": code, "role": roles[code], "display_name": name, "joined": today}
            for name, code in coaches.items()
        ]
        season, first, last = self.season
        return NewAcademy(
            self.name, self.time_zone, [*staff, *rows.people],
            [{"season": "-".join(season.split()), "from": first, "to": last}],
            rows.coaching, rows.consents, drill_rows(self.drills), self.kept_elsewhere,
        )  # fmt: skip


def drill_rows(codes: Collection[str]) -> list[dict[str, Any]]:
    """The starter drills of these codes, as lines of drills.csv."""
    return [
        {"drill": drill.code, "name": drill.name, "aim": drill.aim, "how": drill.how,
         "cautions": drill.cautions, "min_age": drill.min_age}
        for drill in starter_drills()
        if drill.code in codes
    ]  # fmt: skip


def without_consent(students: Sequence[Student], agreed: Sequence[str]) -> list[str]:
    """Names of those for whom nobody of the list can have consented."""
    return roster_rows(students, Staff({}, None), (), date.today(), agreed=agreed).without_consent  # noqa: DTZ011


def make(home: Home, typed: Typed, founder: Founder | None) -> Path:
    """Make the academy, once; returns the delivery of its roster.

    `founder` None: whoever runs the command, who keeps the home.

    Raises
        AccessError: the founder may not any more.
        CallError: something is missing, or there is an academy here already.
        OSError: the disk did not take it.
    """
    if founder is not None:
        founder.check()
    return found(home, typed.academy(today_in(typed.time_zone)))


def check_new(home: Home) -> None:
    """Make sure that an academy can be made here.

    Raises
        CallError: there is one, or the folder holds something else.
    """
    if founding.is_founded(home):
        sentence = _("There is an academy at {home} already; open it with: underfoot serve --home {home}")
        raise CallError(sentence.format(home=home.path))
    if home.path.exists() and not home.settings_file.exists() and not home.is_new():
        raise CallError(_("{home} is not empty; name an empty or new folder.").format(home=home.path))


def make_from_options(
    home: Home,
    *,
    name: str | None,
    head_coach: str | None,
    time_zone: str | None,
    coaches: Sequence[str],
    students: Path | None,
    consents_elsewhere: bool,
    no_drills: bool,
) -> list[str]:
    """Make the academy; returns what is odd in the list of students, in words.

    Raises
        CallError: something is missing or can't be read, or the order of days in the list is not known.
    """
    zone = time_zone or founding.machine_time_zone()
    if zone not in founding.time_zones():
        raise CallError(_("{zone} is not a time zone; use a name such as Europe/Berlin.").format(zone=zone))
    usual, today = this_year(zone), today_in(zone)
    rows = spreadsheet.read_file(students.name, students.read_bytes()) if students else []
    columns = student_list.recognise(rows)
    found = student_list.students(rows, columns, today, coaches=[head_coach or "", *coaches])
    if student_list.needs_day_order(rows, columns):
        sentence = _("{file}: write dates as 2012-04-03; 03/04/2012 could be either of two days.")
        raise CallError(sentence.format(file=students))
    typed = Typed(
        name or "", zone, head_coach or "", (usual["season"], usual["from"], usual["to"]), coaches, found,
        kept_elsewhere=consents_elsewhere, drills=[] if no_drills else [d.code for d in starter_drills()],
    )  # fmt: skip
    make(home, typed, None)
    odd = [f"{s.name}: {'; '.join(s.oddities)}." for s in found if s.oddities]
    return [_("{students}.").format(students=count(len(found), "student")), *odd] if rows else []


def today_in(time_zone: str) -> date:
    """Today in a time zone."""
    return datetime.now(ZoneInfo(time_zone)).date()
