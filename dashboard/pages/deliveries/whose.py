"""Recordings that wait until somebody says whose they are: the likely owners of each, and their delivery."""

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from dashboard import inbox
from dashboard.text.catalogue import Words, _
from dashboard.text.numbers import listed, number, on
from warehouse import toml
from warehouse.access import Reader
from warehouse.errors import CallError
from warehouse.filed import WHY, why_refused
from warehouse.home import Home

REASON = "whose"
EVIDENCE = Words({"lesson": "had a lesson then", "body_mass": "the weight fits"})


@dataclass(frozen=True)
class Owner:
    """Somebody whose it may be: a student in reach, and what speaks for them, in words."""

    student: str
    name: str
    because: str


@dataclass(frozen=True)
class Waiting:
    """One recording that waits, as its refusal describes it: whose it may be, the likeliest first."""

    delivery: str
    file: str
    about: str
    owners: tuple[Owner, ...]
    proposal: Mapping[str, Any]
    path: Path


def waiting(reader: Reader) -> list[Waiting]:
    """The recordings that the viewer may place, the oldest first.

    A head coach sees all of them. A coach sees those that they delivered and those that a device put into the
    inbox, where one of their own students may be the owner; nobody else is named to them.
    """
    names = dict(reader.sql("SELECT person, display_name FROM person").iter_rows())
    found = []
    for why, folder in _refused(reader.home):
        by = (why.get("by") or {}).get("person")
        if reader.viewer.role != "head_coach" and by not in (None, reader.viewer.person):
            continue
        with suppress(KeyError, TypeError, ValueError, IndexError):
            one = _waiting(reader, why, folder, names)
            if one.owners and not _on_its_way(reader, one):
                found.append(one)
    return sorted(found, key=lambda one: (one.proposal["started_at"], one.file))


def _refused(home: Home) -> Iterator[tuple[dict[str, Any], Path]]:
    for path in sorted(home.refused.glob(f"*/{WHY}")):
        why = why_refused(path.parent)
        if why.get("reason") == REASON and "superseded_by" not in why:
            yield why, path.parent


def _waiting(reader: Reader, why: Mapping[str, Any], folder: Path, names: Mapping[str, str]) -> Waiting:
    proposal, file = dict(why["refused"][0]["proposal"]), str(why["name"])
    owners = tuple(
        Owner(one["person"], names[one["person"]], listed([EVIDENCE[code] for code in one["because"]]))
        for one in proposal["owners"]
        if reader.may_write("session", one["person"])
    )
    at = datetime.fromisoformat(proposal["started_at"]).astimezone(reader.settings.zone)
    mass = proposal["mass_kg"]
    about = [
        on(at.date()), f"{at:%H:%M}", *filter(None, [proposal["club"], proposal["device"]]),
        *([] if mass is None else [_("about {mass} on the plates").format(mass=number(mass, "kg"))]),
    ]  # fmt: skip
    proposal["started_at"] = at
    return Waiting(str(why["delivery"]), file, ", ".join(about), owners, proposal, folder / file)


def others(reader: Reader, one: Waiting) -> dict[str, str]:
    """Every other student in reach, by name."""
    likely = {owner.student for owner in one.owners}
    rows = reader.sql("SELECT person, display_name FROM person WHERE role = 'student' ORDER BY 2, 1")
    return {student: name for student, name in rows.iter_rows() if student in set(reader.students) - likely}


def _on_its_way(reader: Reader, one: Waiting) -> bool:
    """Whether somebody has just said whose it is: its session is in the inbox, or in already."""
    session = str(one.proposal["session"])
    known = reader.sql("SELECT 1 FROM session WHERE session = ?", [session])
    return not known.is_empty() or any(reader.home.inbox.glob(f"*/{session}"))


def give(reader: Reader, delivery: str, student: str) -> tuple[str, Path]:
    """Deliver a recording that waits as a session of a student; its session's name and the delivery's folder.

    Raises
        AccessError: the student is out of reach, or the viewer may not deliver.
        CallError: it does not wait any more.
        OSError: the disk did not take it.
    """
    now = reader.to_write("session", student)
    one = next((one for one in waiting(now) if one.delivery == delivery), None)
    if one is None or not one.path.is_file():
        raise CallError(_("Somebody has just said whose it is; look again in a moment."))
    session = str(one.proposal["session"])
    head = {
        "session": session, "student": student, "coach": now.viewer.person,
        "device": one.proposal["device"], "club": one.proposal["club"],
        "started_at": one.proposal["started_at"],
    }  # fmt: skip
    files = [
        (f"{session}/plate{one.path.suffix.lower()}", one.path.read_bytes()),
        (f"{session}/session.toml", "\n".join([*toml.lines(head), ""]).encode()),
    ]
    kept = inbox.deliver(now, files)
    now.wrote("session", student)
    return session, kept
