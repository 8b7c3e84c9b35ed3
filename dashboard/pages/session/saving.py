"""Saving a new session: the delivery that its files, and what the coach says of its swings, become."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dashboard import inbox
from dashboard.pages.people.changes import changed_file
from dashboard.pages.people.content import rows
from dashboard.pages.session.content import Opened, Visit
from dashboard.text.catalogue import _
from warehouse import recipes, toml
from warehouse.access import Reader
from warehouse.errors import CallError
from warehouse.vocabulary import LEFT_OUT, SWING, SWING_DRILL, SWING_EVENT, SWING_KIND, SWING_KINDS


@dataclass(frozen=True)
class Saved:
    """What was saved together: each student's session, and the delivery's folder in the inbox."""

    sessions: tuple[tuple[str, str], ...]
    folder: Path


@dataclass(frozen=True)
class MarkedSwing:
    """A swing as the coach marked it: what it is (of SWING_KINDS, or the drill it came after), its moments.

    events: those that the coach put elsewhere than the plate shows them, s from the swing's first sample.
    """

    mark: str
    events: Mapping[str, float] = field(default_factory=dict)


Part = tuple[Visit, Opened, Mapping[int, MarkedSwing]]


def save(reader: Reader, parts: Sequence[Part]) -> Saved:
    """Deliver a visit, or each one's part of a recording of several, flushed to disk in the inbox as one.

    Each part has what the coach says of its swings, by their numbers; where that is not what a swing was
    taken for, notes correct it. A session's name follows from its files: the same files of the same day are
    the same session, however often they are sent. Nothing is kept where one of the parts can't be.

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
    now: Reader, visit: Visit, opened: Opened, said: Mapping[int, MarkedSwing]
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
    clip = [] if films is None else ["", "[clip]", *toml.lines({"fps": films.fps, "view": films.view})]
    return "\n".join([*toml.lines(head), *clip, *swings, ""])


def _corrections(
    reader: Reader, visit: Visit, opened: Opened, said: Mapping[int, MarkedSwing]
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
