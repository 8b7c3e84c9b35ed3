"""Changes of the roster: each is a delivery of roster lines, and never over what was changed meanwhile.

All of them raise AccessError when the viewer is no head coach (any more), and CallError when something does
not fit or was changed meanwhile.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

from dashboard import inbox
from dashboard.inbox import as_head_coach
from dashboard.pages.people.content import FIELDS, Row, coaches, coaching, consents, givers, rows, value_words
from dashboard.student_list import Staff, Student, roster_rows
from dashboard.text.catalogue import _
from dashboard.text.numbers import listed
from warehouse.access import Reader
from warehouse.errors import CallError
from warehouse.founding import waiting
from warehouse.home import holder
from warehouse.rosters import new_codes, roster_csv


def change(reader: Reader, was: Row, after: Row) -> Path:
    """Deliver a person's changed row."""
    return inbox.deliver(reader, [changed_file(reader, was, after)])


def changed_file(reader: Reader, was: Row, after: Row) -> tuple[str, bytes]:
    """The roster file, by its name, that changes a person's row."""
    now = as_head_coach(reader)
    _check(after)
    if after == was:
        raise CallError(_("Nothing has been changed."))
    _unchanged(now, was)
    return "people.csv", roster_csv("people.csv", [after])


def add(reader: Reader, row: Row, coach: str | None = None) -> Path:
    """Deliver a new person, and a student's coach from their first day."""
    now = as_head_coach(reader)
    _check(row)
    code = next(new_codes(row["role"], _taken(now)))
    first = {"student": code, "coach": coach, "from": row["joined"]}
    coaching = [first] if coach and row["role"] == "student" else []
    return _deliver(now, people=[row | {"person": code}], coaching=coaching)


def add_students(reader: Reader, found: Sequence[Student], usual_coach: str | None) -> Path:
    """Deliver a list of new students, with the coaches and guardians it names."""
    now = as_head_coach(reader)
    if not found:
        raise CallError(_("There is nobody in the list."))
    staff = Staff({name: code for code, name in coaches(now).items()}, usual_coach)
    new = roster_rows(found, staff, _taken(now), now.today)
    return _deliver(now, people=new.people, coaching=new.coaching)


def end(reader: Reader, was: Row, last: date) -> Path:
    """Deliver somebody's last day, which also ends who coaches them and whom they coach."""
    now = as_head_coach(reader)
    after = was | {"left": last}
    _check(after)
    _unchanged(now, was)
    spans = now.sql(
        'SELECT student, coach, "from", "to" FROM coaching WHERE (student = ? OR coach = ?) AND "from" <= ? '
        'AND ("to" IS NULL OR "to" > ?) ORDER BY ALL',
        [was["person"], was["person"], last, last],
    )
    ended = [span | {"to": last} for span in spans.iter_rows(named=True)]
    return _deliver(now, people=[after], coaching=ended)


def change_coach(reader: Reader, student: str, coach: str, first: date) -> Path:
    """Deliver a student's new coach from a day on; whoever coached them until then ends the day before."""
    now = as_head_coach(reader)
    _nothing_waits(now, "coaching.csv")
    spans = list(coaching(now, student).iter_rows(named=True))
    if any(span["from"] >= first for span in spans):
        raise CallError(_("They already have a coach who begins on that day or later; choose a later day."))
    ended = [s | {"to": first - timedelta(days=1)} for s in spans if s["to"] is None or s["to"] >= first]
    new = {"student": student, "coach": coach, "from": first}
    return _deliver(now, coaching=[*ended, new])


def give_consent(reader: Reader, student: str, purpose: str, given_by: str, first: date) -> Path:
    """Deliver a consent."""
    now = as_head_coach(reader)
    _nothing_waits(now, "consents.csv")
    if given_by not in givers(now, student):
        raise CallError(_("Only a guardian can consent for a minor; add the guardian first."))
    line = {"student": student, "given_by": given_by, "purpose": purpose, "from": first}
    return _deliver(now, consents=[line])


def end_consent(reader: Reader, was: Row, last: date) -> Path:
    """Deliver the last day of a consent; what was recorded under it is not shown from the day after."""
    now = as_head_coach(reader)
    _nothing_waits(now, "consents.csv")
    if last < was["from"]:
        raise CallError(_("It ends before it begins; correct one of the days."))
    if was not in consents(now, was["student"]).rows(named=True):
        raise CallError(_("This consent was changed meanwhile; look at it again."))
    return _deliver(now, consents=[was | {"to": last}])


def add_season(reader: Reader, name: str, first: date, last: date) -> Path:
    """Deliver a season."""
    now = as_head_coach(reader)
    code = "-".join(name.split())
    if not code or last < first:
        raise CallError(_("A season needs a name, and a last day that is not before its first."))
    for other, start, end_ in now.sql('SELECT season, "from", "to" FROM season ORDER BY ALL').iter_rows():
        if other == code or (first <= end_ and start <= last):
            raise CallError(
                _("It overlaps the season {season}; a day belongs to one season.").format(season=other)
            )
    line = {"season": code, "from": first, "to": last}
    return _deliver(now, seasons=[line])


def _deliver(now: Reader, **rosters: Sequence[Row]) -> Path:
    """Deliver lines of roster files, as in people=[...]; a file without lines is left out."""
    files = {f"{name}.csv": lines for name, lines in rosters.items() if lines}
    return inbox.deliver(now, [(file, roster_csv(file, lines)) for file, lines in files.items()])


def _check(row: Row) -> None:
    """Make sure that a row would load."""
    if not str(row["display_name"] or "").strip():
        raise CallError(_("A person needs a name."))
    if row["joined"] is None:
        raise CallError(_("A person needs a first day."))
    if row.get("left") is not None and row["left"] < row["joined"]:
        raise CallError(_("Their last day is before their first; correct one of them."))


def _unchanged(now: Reader, was: Row) -> None:
    """Make sure that the roster still has somebody's row as it was when the change began.

    A row that differs is not written over, and nothing is known while a people.csv waits to be loaded.
    """
    _nothing_waits(now, "people.csv")
    current = rows(now).get(was["person"])
    if current is None:
        raise CallError(_("{name} is not on the roster any more.").format(name=was["display_name"]))
    differs = differences(was, current)
    if differs:
        sentence = _("Not saved: {name} was changed meanwhile ({changes}). Look at it again and save again.")
        raise CallError(sentence.format(name=was["display_name"], changes=differs))


def differences(was: Row, current: Row) -> str:
    """What a row has become since, in words; empty where nothing has changed."""
    changed = [name for name in FIELDS if current[name] != was[name]]
    return listed(
        [
            _("{field} is now {value}").format(field=FIELDS[name], value=value_words(name, current[name]))
            for name in changed
        ]
    )


def _nothing_waits(now: Reader, file: str) -> None:
    """Make sure that no file of this name waits, and no load is at work: what they change is not known."""
    for path in waiting(now.home):
        if path.name == file or (path.is_dir() and any(path.rglob(file))):
            raise CallError(
                _(
                    "Nothing was saved just now: a {file} is still being loaded, perhaps the one saved a "
                    "moment ago. Look again once it shows here."
                ).format(file=file)
            )
    if holder(now.home.path) is not None:
        raise CallError(
            _(
                "Nothing was saved just now: something is being loaded, perhaps what was saved a moment ago. "
                "Look again once it shows here."
            )
        )


def _taken(now: Reader) -> list[str]:
    """Codes in use; also those of a roster that still waits, by letting it load first."""
    _nothing_waits(now, "people.csv")
    return list(rows(now))
