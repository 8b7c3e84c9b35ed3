"""A new session: what dropped files would be read as, and what became of them."""

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import polars as pl

from dashboard import inbox, previews
from dashboard.pages.people.content import rows
from dashboard.pages.session.questions import role_words
from dashboard.pages.student import swings
from dashboard.pages.student.swings import SwingChoice
from dashboard.queries import people, sessions
from dashboard.section import Section
from dashboard.text.catalogue import _
from dashboard.text.numbers import listed, number, on
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.home import holder
from warehouse.preview import Brought, Player, Preview
from warehouse.vocabulary import is_film

Files = tuple[tuple[str, bytes], ...]
WAITING, LOADED, REFUSED, NOTHING_NEW = "waiting", "loaded", "refused", "nothing_new"


@dataclass(frozen=True)
class KeptFilms:
    """The swing that each film shows, by the name under which it came, and how all of them were filmed."""

    swings: Mapping[str, int]
    fps: float
    view: str


@dataclass(frozen=True)
class Visit:
    """Who comes, and with what; a device that the settings do not name is new, of that kind.

    handed: as it was just said of a student of whom the roster does not say it. only: the swings of a
    recording that are the student's, by their numbers in all of it; all where empty. films: those to keep.
    """

    student: str
    club: str
    pace: str
    device: str
    kind: str
    started_at: datetime
    body_mass_kg: float | None = None
    answers: Mapping[str, str] = field(default_factory=dict)
    handed: str | None = None
    only: tuple[int, ...] = ()
    films: KeptFilms | None = None

    def delivered(self, name: str) -> str | None:
        """What a dropped file is called in its session; None for a film that is not kept."""
        if not is_film(name):
            return name
        of = self.films.swings if self.films is not None else {}
        return f"clip-{of[name]}.{name.rpartition('.')[2].lower()}" if name in of else None


@dataclass(frozen=True)
class Opened:
    """Files as they would be read, and their contents by the names they would be delivered under."""

    preview: Preview
    files: Mapping[str, bytes]

    @property
    def can_be_saved(self) -> bool:
        """Whether there is something that loads, and nothing more to ask."""
        found = self.preview
        if found.questions or found.doubts or found.problems:
            return False
        return any(swing.refused is None for swing in found.swings)


def devices(reader: Reader, student: str) -> list[str]:
    """The academy's devices, the student's last one first, then the one used last."""
    used = reader.sql(
        "SELECT device FROM session WHERE device IS NOT NULL GROUP BY device "
        "ORDER BY max(started_at) FILTER (WHERE student = ?) DESC NULLS LAST, max(started_at) DESC",
        [student],
    )["device"].to_list()
    known = reader.settings.devices
    return list(dict.fromkeys([*(name for name in used if name in known), *known]))


def body_mass_kg(reader: Reader, student: str) -> float | None:
    """The body mass that was given last."""
    found = reader.sql(
        "SELECT arg_max(body_mass_kg, started_at) AS kg FROM session "
        "WHERE student = ? AND body_mass_kg IS NOT NULL",
        [student],
    )
    kg = found.item()
    return None if kg is None else float(kg)


def began(reader: Reader, student: str) -> datetime:
    """When a student's session began: with the last of today's lessons that has begun; else now."""
    now = inbox.this_minute(reader)
    with suppress(UnderfootError):
        starts = [
            one.entry.start
            for one in reader.lessons(reader.today)
            if student in one.students and one.entry.end > one.entry.start
        ]
        return max((start for start in starts if reader.today == start.date() and start <= now), default=now)
    return now


def device_name(typed: str) -> str:
    """A new device's name as its table in the settings has it."""
    return re.sub(r"[^a-z0-9]+", "-", typed.strip().lower()).strip("-")[:40]


def stops(reader: Reader, student: str) -> str:
    """Why nothing measured on plates may be saved of a student; empty where it may."""
    if people.has_consent(reader, student, "measure"):
        return ""
    return _("No consent to measure covers today, so a session with plate samples would be refused.")


def opened(reader: Reader, visit: Visit, files: Files) -> Opened:
    """What files would be read as.

    Raises
        AccessError: the student is out of reach.
        CallError: a name that is no file name, the same name twice, or nothing here can read files.
        OSError: the disk did not take them.
    """
    now = inbox.in_reach(reader, visit.student)
    named = inbox.named(files)
    person = rows(now)[visit.student]
    brought = Brought(
        Path(), now.settings, visit.student, visit.device, visit.kind, visit.answers,
        person["handed"] or visit.handed, person["foot_length_mm"], visit.body_mass_kg, visit.only,
        _players(now),
    )  # fmt: skip
    return Opened(*previews.opened(now.home, named, brought))


def _players(reader: Reader) -> dict[str, Player]:
    """Every student in reach, who may be in a recording of several."""
    rows = reader.sql(
        "SELECT p.person, arg_max(s.body_mass_kg, s.started_at), p.handed FROM person p "
        "LEFT JOIN session s ON s.student = p.person AND s.body_mass_kg IS NOT NULL "
        "WHERE list_contains(CAST(? AS VARCHAR[]), p.person) GROUP BY p.person, p.handed",
        [reader.students],
    )
    return {student: Player(mass, handed) for student, mass, handed in rows.iter_rows()}


def columns(found: Preview) -> pl.DataFrame:
    """Each column of the first table: what it is taken for, and its first values."""
    lines = [
        {
            _("Column"): column["column"],
            _("Read as"): role_words(column["ours"]) + (f", {column['unit']}" if column["unit"] else ""),
            _("First values"): "  ".join(number(v, decimals=2) for v in column["first"]),
        }
        for column in (found.explained or {}).get("columns", [])
    ]
    return pl.DataFrame(lines)


def against_last_time(reader: Reader, session: str, *, narrow: bool) -> tuple[str, Section]:
    """A loaded session's swings drawn over those of the student's session before it, and which that is.

    Raises
        UnderfootError: no swing of it can be drawn; it says why.
    """
    found = reader.sql(
        "SELECT s.student, w.club_family FROM session s JOIN swing w USING (session) WHERE s.session = ? "
        "AND w.usable LIMIT 1",
        [session],
    )
    if found.is_empty():
        raise UnderfootError(_("None of its swings could be measured."))
    student, family = found.row(0)
    found = sessions.plate_sessions(reader, student, family)
    names = found["session"].to_list()
    before = names[names.index(session) - 1] if session in names[1:] else None
    this, other = SwingChoice(session), None if before is None else SwingChoice(before)
    curves = swings.swing_curves(reader, this, other, family)
    curves = replace(curves, names=swings.names(found, this, other))
    section = swings.load_part(curves, narrow=narrow)
    if before is None:
        return _("The first measured session with these clubs."), section
    day = found.filter(session=before)["day"][0]
    return _("Against the session before, of {day}.").format(day=on(day)), section


def refused(reader: Reader, session: str) -> list[str]:
    """Why a session that was delivered did not load; empty where nothing was refused."""
    found = reader.sql("SELECT sentence FROM refusal WHERE session = ? ORDER BY swing_no", [session])
    return found["sentence"].unique(maintain_order=True).to_list()


def without_films(reader: Reader, session: str) -> str:
    """Which loaded swings go without the film that was brought of them; empty where none does."""
    found = reader.sql(
        "SELECT swing_no FROM swing WHERE session = ? AND list_contains(flags, 'clip_not_followed') "
        "ORDER BY swing_no",
        [session],
    )["swing_no"].to_list()
    if not found:
        return ""
    swings = listed([_("Swing {n}").format(n=n) for n in found])
    return _(
        "{swings}: the film could not be followed, so nothing is measured from it. What the plate measured "
        "is loaded, and the film can be marked by eye."
    ).format(swings=swings)


def became(reader: Reader, session: str, folder: str) -> str:
    """What a delivered session has become, of the four states; `folder` is where it was put in the inbox."""
    # A load at work may have taken it from the inbox, and may end just now: the reader is opened after that.
    busy = (reader.home.inbox / folder).exists() or holder(reader.home.path) is not None
    now = reader.anew()
    if not now.sql("SELECT 1 FROM session WHERE session = ?", [session]).is_empty():
        return LOADED
    if refused(now, session):
        return REFUSED
    return WAITING if busy else NOTHING_NEW
