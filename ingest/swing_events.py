"""Event times of a session's swings, from session.toml, a file of events and labels in recordings."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from ingest.formats.format import EventFormat, SessionContext, files_of
from ingest.refusals import refusal, shown
from ingest.session_file import FILE, Event, SessionHeader, line_of
from warehouse.errors import Refusal
from warehouse.vocabulary import EVENTS

_AGAIN = "correct it and deliver the session again"


@dataclass(frozen=True)
class Events:
    """Events by swing, in swing order, and the swings that their events rule out."""

    by_swing: dict[int, list[Event]]
    refused: list[Refusal]


def read_events(context: SessionContext, labelled: Mapping[int, Mapping[str, float]]) -> Events:
    """Collect every swing's events and check names, duplicates and order.

    `labelled` are events in a swing's own recording; one that the coach marked counts instead.

    Raises
        Refused: events.csv can't be read.
    """
    header = context.header
    found: dict[int, list[Event]] = {}
    refused: dict[int | None, Refusal] = {}
    for no, swing in header.swings.items():
        for clock, written in (("plate", swing.events), ("clip", swing.clip_events)):
            for name, value in written.items():
                problem = _name_or_value(name, value)
                if problem is not None:
                    bad = _at(header, no, "event_name", problem, Event(name, 0.0, clock, FILE, None))
                    refused.setdefault(no, bad)
                else:
                    found.setdefault(no, []).append(Event(name, float(value), clock, FILE, None))
    for name, kind in files_of(EventFormat, context.held).items():
        events, bad_swings = kind.read(name, context)
        refused |= {no: bad for no, bad in bad_swings.items() if no not in refused}
        for no, event in events:
            found.setdefault(no, []).append(event)
    for no, labels in labelled.items():
        marked = {e.event for e in found.get(no, []) if e.clock == "plate"}
        more = [Event(name, t, "plate", "", None) for name, t in labels.items() if name not in marked]
        found.setdefault(no, []).extend(more)
    for no, marked_events in found.items():
        wrong = _duplicate(marked_events) or _order(marked_events)
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
        return f"{name} is {shown(value)} but must be a time in seconds"
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


def _duplicate(events: list[Event]) -> tuple[str, str, Event] | None:
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
    """Refusal of a swing whose plate events are not all inside its samples, else None."""
    for event in events:
        if event.clock == "plate" and not first_s - 1e-9 <= event.t_s <= last_s + 1e-9:
            what = (
                f"{event.event} at {event.t_s:g} s is outside the swing's samples "
                f"({first_s:.6g} to {last_s:.6g} s)"
            )
            return _at(header, no, "event_outside", what, event)
    return None
