"""Event times: from `[swing.events]`, `[swing.clip_events]` and `events.csv`, checked against the samples."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from ingest.academy import Academy
from ingest.refusals import from_failures, refusal, shown
from ingest.session_file import FILE, SessionHeader, line_of
from ingest.tables import Table, read_table
from warehouse.contracts.deliveries import EventLine
from warehouse.errors import Refusal
from warehouse.vocabulary import EVENTS

_AGAIN = "mend it and deliver the session again"


@dataclass(frozen=True)
class Event:
    """One event of one swing, with the place it was given."""

    event: str
    t_s: float
    clock: str
    file: str
    line: int | None  # None in session.toml, whose lines are looked up when one is wanted


@dataclass(frozen=True)
class Events:
    """Events by swing, in swing order, and the swings that their events rule out."""

    by_swing: dict[int, list[Event]]
    refused: list[Refusal]


def read_events(
    header: SessionHeader,
    delivered: Mapping[str, bytes],
    academy: Academy,
    labelled: Mapping[int, Mapping[str, float]],
) -> Events:
    """Collect every swing's events and check names, doubles and order.

    `labelled` are events that stand in a swing's own recording; one that the coach marked counts instead.

    Raises
        Refused: events.csv can't be read.
    """
    found: dict[int, list[Event]] = {}
    refused: dict[int, Refusal] = {}
    for no, swing in header.swings.items():
        for clock, written in (("plate", swing.events), ("clip", swing.clip_events)):
            for name, value in written.items():
                problem = _name_or_value(name, value)
                if problem is not None:
                    bad = _at(header, no, "event_name", problem, Event(name, 0.0, clock, FILE, None))
                    refused.setdefault(no, bad)
                else:
                    found.setdefault(no, []).append(Event(name, float(value), clock, FILE, None))
    for name in (name for name in delivered if name.lower() == "events.csv"):
        _add_file(delivered[name], name, header, academy, found, refused)
    for no, labels in labelled.items():
        marked = {e.event for e in found.get(no, []) if e.clock == "plate"}
        more = [Event(name, t, "plate", "", None) for name, t in labels.items() if name not in marked]
        found.setdefault(no, []).extend(more)
    for no, events in found.items():
        wrong = _twice(events) or _order(events)
        if wrong is not None and no not in refused:
            refused[no] = _at(header, no, *wrong)
    ordered = {
        no: sorted(events, key=lambda e: (e.clock, EVENTS.index(e.event))) for no, events in found.items()
    }
    return Events(ordered, list(refused.values()))


def _name_or_value(name: str, value: Any) -> str | None:
    if name not in EVENTS:
        return f'"{name}" is not an event; the events are {", ".join(EVENTS)}'
    if not isinstance(value, int | float) or isinstance(value, bool) or not math.isfinite(value):
        return f"{name} is {shown(str(value))} but must be a time in seconds"
    return None


def _at(header: SessionHeader, no: int, reason: str, what: str, event: Event) -> Refusal:
    line = event.line
    if event.file == FILE and no in header.swings:
        line = line_of(header.text, event.event, "swing", header.swings[no].place)
    return refusal(
        reason,
        what,
        _AGAIN,
        session=header.session,
        swing_no=no,
        file=event.file or header.swings[no].file,
        line=line,
        column=event.event,
    )


def _add_file(
    data: bytes,
    file: str,
    header: SessionHeader,
    academy: Academy,
    found: dict[int, list[Event]],
    refused: dict[int, Refusal],
) -> None:
    table = read_table(data, file, EventLine, academy.settings.zone, todo="add it")
    bad = _broken_rows(table, header, refused)
    for row, values in enumerate(table.frame.iter_rows(named=True)):
        no = values["swing_no"]
        if row in bad:
            continue
        if no not in header.swings:
            if all(r.swing_no != no for r in header.refused):
                what, todo = (
                    "session.toml has no such swing",
                    "correct the number and deliver the session again",
                )
                place = {"session": header.session, "file": file, "line": table.lines[row]}
                refused.setdefault(
                    no,
                    refusal("unmatched_swing", what, todo, swing_no=no, column="swing_no", **place),  # type: ignore[arg-type]
                )
            continue
        clock = values["clock"] or "plate"
        found.setdefault(no, []).append(Event(values["event"], values["t_s"], clock, file, table.lines[row]))


def _broken_rows(table: Table, header: SessionHeader, refused: dict[int, Refusal]) -> set[int]:
    """Each swing with a broken line is refused, by its first; a line without a swing number by itself."""
    for failure in table.broken:
        no = table.frame["swing_no"][failure.index or 0]
        place = from_failures(
            [failure],
            file=table.file,
            line_of=table.line_of,
            todo=_AGAIN,
            session=header.session,
            swing_no=no,
        )
        refused.setdefault(-1 if no is None else no, place)
    return {f.index for f in table.broken if f.index is not None}


def _twice(events: list[Event]) -> tuple[str, str, Event] | None:
    seen: set[tuple[str, str]] = set()
    for event in events:
        if (event.clock, event.event) in seen:
            return "event_twice", f"the event {event.event} is given twice", event
        seen.add((event.clock, event.event))
    return None


def _order(events: list[Event]) -> tuple[str, str, Event] | None:
    for clock in ("plate", "clip"):
        marked = sorted((e for e in events if e.clock == clock), key=lambda e: EVENTS.index(e.event))
        for before, after in pairwise(marked):
            if after.t_s <= before.t_s:
                what = f"{after.event} ({after.t_s:g} s) must come after {before.event} ({before.t_s:g} s)"
                return "events_out_of_order", what, after
    return None


def outside(
    header: SessionHeader, no: int, events: list[Event], first_s: float, last_s: float
) -> Refusal | None:
    """Refusal of a swing whose plate events do not all lie inside its samples, else None."""
    for event in events:
        if event.clock == "plate" and not first_s - 1e-9 <= event.t_s <= last_s + 1e-9:
            what = (
                f"{event.event} at {event.t_s:g} s lies outside the swing's samples "
                f"({first_s:.6g} to {last_s:.6g} s)"
            )
            return _at(header, no, "event_outside", what, event)
    return None
