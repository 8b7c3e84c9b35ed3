"""Assigning one of two drills by random draw, when a coach would be happy with either.

A random draw depends on nothing else, so the doses that follow it are the nearest thing to a trial that an
academy has. The draw is written as a notes file into the inbox: a plan line for each student, with the drill
that lost in `drawn_against`; the next load lands it.
"""

import secrets
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl

from warehouse.body import AGE, FALLS_NOT_ASKED, FELL, Body, Exercise, Objection
from warehouse.errors import CallError
from warehouse.home import Home, write_synced
from warehouse.reach import coach_of
from warehouse.store import Snapshot, open_snapshot

EARLIER = """
    SELECT student, author, code AS drill FROM academy.note
    WHERE kind = 'plan' AND list_sort([code, drawn_against]) = list_sort(CAST($1 AS VARCHAR[]))
"""
COLUMNS = ("student", "at", "author", "kind", "code", "text", "shared", "drawn_against")


@dataclass(frozen=True)
class Lot:
    """What one student was assigned, and the drill it was drawn against."""

    student: str
    name: str
    drill: str
    against: str


@dataclass(frozen=True)
class Draw:
    """The lots of one draw, drill names by code, and the file in the inbox that records them.

    `so_far`: students who were drawn between the two by now, these included.
    """

    lots: list[Lot]
    drills: dict[str, str]
    file: Path
    so_far: int


def draw_lots(home: Home, drills: tuple[str, str], students: Sequence[str]) -> Draw:
    """Draw one of two drills for each student and record it in the inbox, on the disk before it returns.

    Each coach's students are drawn among themselves: each drill goes to half of them (the odd one out is
    left to chance), and no coach ever has more than two more of one than of the other.

    Raises
        CallError: the drills are the same or not known, no student is named, or one is not a student of the
            academy today, age, falls or pain rule one of the drills out for them, or they have nobody to
            note it.
    """
    now = datetime.now(UTC)
    settings = home.settings()
    today = now.astimezone(settings.zone).date()
    with closing(open_snapshot(home)) as snapshot:
        known = _drills(snapshot, drills)
        people = [
            _student(snapshot, student, known, today, settings.eyes_closed_from_age)
            for student in dict.fromkeys(students)
        ]
        earlier = snapshot.sql(EARLIER, [list(drills)])
    if not people:
        raise CallError("A draw needs students; name at least one: --student S.")
    names = {drill.code: drill.name for drill in known}
    authors = [author for _, _, author in people]
    hands = _hands(drills, authors, earlier)
    lots = [
        Lot(student, name, won, drills[0] if won == drills[1] else drills[1])
        for (student, name, _), won in zip(people, hands, strict=True)
    ]
    file = home.inbox / f"notes-lots-{now:%Y%m%dT%H%M%SZ}-{secrets.token_hex(3)}.csv"
    home.inbox.mkdir(parents=True, exist_ok=True)
    write_synced(file, _lines(lots, authors, names, now))
    return Draw(lots, names, file, len({*earlier["student"], *(lot.student for lot in lots)}))


def _hands(drills: tuple[str, str], authors: Sequence[str], earlier: pl.DataFrame) -> list[str]:
    """One drill for each student, in blocks of their coaches, by the machine's own source of chance."""
    chance = secrets.SystemRandom()
    hands = [""] * len(authors)
    for author in dict.fromkeys(authors):
        own = [k for k, each in enumerate(authors) if each == author]
        before = earlier.filter(author=author)["drill"].to_list()
        ahead = before.count(drills[0]) - before.count(drills[1])
        # One ahead is left to chance, so that nobody can tell what comes next.
        twice = len(own) - (ahead if abs(ahead) > 1 else 0)
        first = min(max((twice + chance.randint(0, twice % 2)) // 2, 0), len(own))
        block = [drills[0]] * first + [drills[1]] * (len(own) - first)
        chance.shuffle(block)
        for k, drill in zip(own, block, strict=True):
            hands[k] = drill
    return hands


def _drills(snapshot: Snapshot, drills: tuple[str, str]) -> list[Exercise]:
    if drills[0] == drills[1]:
        raise CallError(f"A draw needs two drills, and {drills[0]} was named twice; name two.")
    rows = snapshot.sql("SELECT * FROM academy.drill").iter_rows(named=True)
    known = {row["drill"]: Exercise.of(row) for row in rows}
    unknown = next((drill for drill in drills if drill not in known), None)
    if unknown is not None:
        raise CallError(f"There is no drill {unknown}; drills.csv has {', '.join(sorted(known)) or 'none'}.")
    return [known[drill] for drill in drills]


def _ruled_out(student: str, drill: Exercise, objection: Objection) -> str:
    if objection.why == AGE:
        what = f"{drill.name} is for {objection.from_age} and over, and {student} is not known to be that old"
    elif objection.why == FELL:
        what = f"{drill.name} is done with eyes closed, and {student} fell less than a year ago"
    elif objection.why == FALLS_NOT_ASKED:
        what = f"{drill.name} is done with eyes closed, and {student} was not asked about falls"
    else:
        what = f"{drill.name} may load the {objection.area or 'place'} that hurts {student}"
    return f"{what}; draw between drills that either may do."


def _student(
    snapshot: Snapshot, student: str, drills: Sequence[Exercise], on: date, eyes_closed_from_age: int
) -> tuple[str, str, str]:
    """Code, name, and who notes it: the student's coach today, else the head coach."""
    rows = snapshot.sql(
        "SELECT display_name, born FROM academy.person WHERE person = $1 AND role = 'student' "
        'AND ("left" IS NULL OR "left" >= $2)',
        [student, on],
    ).rows()
    if not rows:
        raise CallError(f"{student} is not a student of the academy today; name one of people.csv.")
    name, born = rows[0]
    notes = snapshot.sql("SELECT * FROM academy.note WHERE student = ?", [student])
    body = Body.by_notes(born, on, notes, eyes_closed_from_age)
    for drill in drills:
        for objection in body.objections(drill):
            raise CallError(_ruled_out(student, drill, objection))
    coach = coach_of(snapshot, student, on)
    if coach is None:
        raise CallError(
            f"Nobody coaches {student}, so nobody can record the draw; add a coach to people.csv."
        )
    return student, name, coach


def _lines(lots: Sequence[Lot], authors: Sequence[str], names: dict[str, str], now: datetime) -> str:
    """A notes file with one plan line a student."""
    at, rows = now.isoformat(timespec="seconds"), []
    for lot, author in zip(lots, authors, strict=True):
        said = f"Lots drawn: {names[lot.drill]}, not {names[lot.against]}."
        rows.append((lot.student, at, author, "plan", lot.drill, said, False, lot.against))
    return pl.DataFrame(rows, schema=COLUMNS, orient="row").write_csv()
