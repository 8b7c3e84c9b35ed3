"""A new session: what brought files would be read as, and the delivery that they become."""

import hashlib
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from dashboard import inbox, previews
from dashboard.pages.people.changes import changed_file
from dashboard.pages.people.content import rows
from dashboard.pages.session.questions import role_words
from dashboard.pages.student import swings
from dashboard.pages.student.swings import SwingChoice
from dashboard.queries import people, sessions
from dashboard.section import Section
from dashboard.text.catalogue import _
from dashboard.text.numbers import number, on
from warehouse import recipes, toml
from warehouse.access import Reader
from warehouse.errors import CallError, UnderfootError
from warehouse.home import holder
from warehouse.preview import Brought, Player, Preview
from warehouse.vocabulary import LEFT_OUT, SWING, SWING_DRILL, SWING_EVENT, SWING_KIND, SWING_KINDS, is_film

Files = tuple[tuple[str, bytes], ...]
WAITING, LOADED, REFUSED, NOTHING_NEW = "waiting", "loaded", "refused", "nothing_new"


@dataclass(frozen=True)
class FilmsOf:
    """The swing that each film shows, by the name under which it came, and how all of them were filmed."""

    swings: Mapping[str, int]
    rate: float
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
    films: FilmsOf | None = None

    def delivered(self, name: str) -> str | None:
        """What a brought file is called in its session; None for a film that is not kept."""
        if not is_film(name):
            return name
        of = self.films.swings if self.films is not None else {}
        return f"clip-{of[name]}.{name.rpartition('.')[2].lower()}" if name in of else None


@dataclass(frozen=True)
class Saved:
    """What was saved together: each student's session, and the delivery's folder in the inbox."""

    sessions: tuple[tuple[str, str], ...]
    folder: Path


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


@dataclass(frozen=True)
class Found:
    """What a coach says of a swing: what it is (of SWING_KINDS, or the drill it came after), and its moments.

    events: those that the coach put elsewhere than the plate shows them, s from the swing's first sample.
    """

    mark: str
    events: Mapping[str, float] = field(default_factory=dict)


Part = tuple[Visit, Opened, Mapping[int, Found]]


def save(reader: Reader, parts: Sequence[Part]) -> Saved:
    """Deliver a visit, or each one's part of a recording of several, flushed to disk in the inbox as one.

    Each part has what the coach says of its swings, by their numbers; where that is not what a swing was
    taken for, notes correct it. A session's name follows from its
    files: the same files of the same day are the same session, however often they are sent. Nothing is kept
    where one of the parts can't be.

    Raises
        AccessError: a student is out of reach, or the viewer may not deliver.
        CallError: no swing is left, a question is still open, or these files were saved before.
        OSError: the disk did not take it.
    """
    now = inbox.in_reach(reader, *(visit.student for visit, _, _ in parts))
    files: dict[str, bytes] = {}
    sessions = []
    for visit, opened, said in parts:
        session, own = _delivered(now, visit, opened, said)
        sessions.append((visit.student, session))
        files |= own
    return Saved(tuple(sessions), inbox.deliver(now, list(files.items())))


def _delivered(
    now: Reader, visit: Visit, opened: Opened, said: Mapping[int, Found]
) -> tuple[str, dict[str, bytes]]:
    """The session that a visit becomes, and its files."""
    if not opened.can_be_saved:
        raise CallError(_("These files can't be saved as they are; answer what is asked first."))
    good = [swing.no for swing in opened.preview.swings if swing.refused is None]
    if all(no in said and said[no].mark in LEFT_OUT for no in good):
        raise CallError(_("Every swing is left out; keep at least one."))
    own = {name: data for brought, data in opened.files.items() if (name := visit.delivered(brought))}
    session = session_name(visit, own)
    if not now.sql("SELECT 1 FROM session WHERE session = ?", [session]).is_empty():
        raise CallError(_("These files are in a session of that day already; nothing was saved twice."))
    files = {f"{session}/{name}": data for name, data in own.items()}
    files[f"{session}/session.toml"] = _sheet(now, session, visit, opened).encode()
    if corrected := _corrections(now, visit, opened, said):
        files[f"{session}/notes.jsonl"] = inbox.notes_text(corrected)
    if opened.preview.recipe is not None:
        files[recipes.FILE] = recipes.recipe_text(visit.device, opened.preview.recipe).encode()
    if visit.handed is not None:
        was = rows(now)[visit.student]
        files.update([changed_file(now, was, {**was, "handed": visit.handed})])
    return session, files


def session_name(visit: Visit, files: Mapping[str, bytes]) -> str:
    """The session's name: its day, its student, and the start of its files' hash."""
    found = hashlib.sha256()
    for name, data in sorted(files.items()):
        found.update(f"{name}\0{len(data)}\0".encode() + data)
    return f"{visit.started_at:%Y-%m-%d}-{visit.student[:40]}-{found.hexdigest()[:8]}"


def _sheet(reader: Reader, session: str, visit: Visit, opened: Opened) -> str:
    """Its session.toml; swings found in a recording need no entry."""
    head: dict[str, Any] = {
        "session": session, "student": visit.student, "coach": reader.viewer.person,
        "started_at": visit.started_at, "club": visit.club, "pace": visit.pace, "device": visit.device,
        "body_mass_kg": visit.body_mass_kg,
    }  # fmt: skip
    entries = [{"no": swing.no, "file": swing.file} for swing in opened.preview.swings if swing.sure is None]
    swings = [line for entry in entries for line in ("", "[[swing]]", *toml.lines(entry))]
    films = visit.films
    clip = [] if films is None else ["", "[clip]", *toml.lines({"fps": films.rate, "view": films.view})]
    return "\n".join([*toml.lines(head), *clip, *swings, ""])


def _corrections(
    reader: Reader, visit: Visit, opened: Opened, said: Mapping[int, Found]
) -> list[dict[str, Any]]:
    """Lines of notes on swings that are something other than they were taken for, and on moments put."""
    common = {
        "at": visit.started_at.isoformat(timespec="seconds"), "author": reader.viewer.person, "shared": False,
    }  # fmt: skip
    found = []
    for swing in opened.preview.swings:
        if swing.refused is not None or swing.no not in said:
            continue
        mark, about = said[swing.no].mark, common | {"swing_no": swing.no}
        if mark != swing.kind:
            kind = SWING_KIND if mark in SWING_KINDS else SWING_DRILL
            if kind == SWING_DRILL and swing.kind != SWING:
                found.append(about | {"kind": SWING_KIND, "code": SWING})
            found.append(about | {"kind": kind, "code": mark})
        found += [
            about | {"kind": SWING_EVENT, "code": event, "value": round(swing.t0_s + at, 4)}
            for event, at in said[swing.no].events.items()
        ]
    return found


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
