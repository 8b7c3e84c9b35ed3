"""The first page's work in a terminal: a new academy from the options of `underfoot new`."""

from collections.abc import Sequence
from pathlib import Path

from dashboard import spreadsheet, student_list
from dashboard.first_page import content
from dashboard.first_page.content import Typed, today_in
from dashboard.text.catalogue import _
from dashboard.text.numbers import count
from warehouse import founding
from warehouse.errors import CallError
from warehouse.founding import starter_drills, this_year
from warehouse.home import Home


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


def make(
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
    content.make(home, typed, None)
    odd = [f"{s.name}: {'; '.join(s.oddities)}." for s in found if s.oddities]
    return [_("{students}.").format(students=count(len(found), "student")), *odd] if rows else []
