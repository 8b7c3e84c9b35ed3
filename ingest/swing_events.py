"""Event times of a session's swings, from session.toml, a file of events and labels in recordings."""

from collections.abc import Iterator, Mapping
from itertools import pairwise

from ingest.formats.format import EventFormat, SessionContext, files_of
from ingest.refusals import AGAIN, refuse, shown
from ingest.session_file import FILE, Event, SessionHeader, line_of
from warehouse.errors import Refusal
from warehouse.toml import is_number
from warehouse.vocabulary import EVENTS


def read_events(
    context: SessionContext, labelled: Mapping[int, Mapping[str, float]]
) -> tuple[dict[int, list[Event]], list[Refusal]]:
    """Every swing's events in order, and the swings that their names, duplicates or order rule out.

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
                problem = None
                if name not in EVENTS:
                    problem = f'"{name}" is not an event; the events are {", ".join(EVENTS)}'
                elif not is_number(value):
                    problem = f"{name} is {shown(value)} but must be a time in seconds"
                if problem is not None:
                    event = Event(name, value, clock, FILE, None)
                    refused.setdefault(no, _at(header, no, "event_name", problem, event))
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
        wrong = _wrong(marked_events)
        if wrong is not None and no not in refused:
            refused[no] = _at(header, no, *wrong)
    ordered = {no: sorted(found[no], key=lambda e: (e.clock, EVENTS.index(e.event))) for no in found}
    return ordered, list(refused.values())


def _at(header: SessionHeader, no: int, reason: str, what: str, event: Event) -> Refusal:
    line = event.line
    if event.file == FILE and no in header.swings:
        line = line_of(header.text, event.event, "swing", header.swings[no].place)
    place = {"swing_no": no, "file": event.file or header.swings[no].file, "line": line}
    return refuse(reason, what, AGAIN, session=header.session, column=event.event, **place).refusal


def _wrong(events: list[Event]) -> tuple[str, str, Event] | None:
    """What is wrong with a swing's events: one given twice, or out of order."""
    seen: set[tuple[str, str]] = set()
    for event in events:
        if (event.clock, event.event) in seen:
            return "event_twice", f"the event {event.event} is given twice", event
        seen.add((event.clock, event.event))
    for before, after in pairwise(sorted(events, key=lambda e: (e.clock == "clip", EVENTS.index(e.event)))):
        if before.clock == after.clock and after.t_s <= before.t_s:
            what = f"{after.event} ({after.t_s:g} s) must come after {before.event} ({before.t_s:g} s)"
            return "events_out_of_order", what, after
    return None


def outside(
    header: SessionHeader, no: int, events: list[Event], first_s: float, last_s: float
) -> Iterator[Refusal]:
    """Refusals of a swing for each of its plate events that is not inside its samples."""
    for event in events:
        if event.clock == "plate" and not first_s - 1e-9 <= event.t_s <= last_s + 1e-9:
            inside = f"the swing's samples ({first_s:.6g} to {last_s:.6g} s)"
            what = f"{event.event} at {event.t_s:g} s is outside {inside}"
            yield _at(header, no, "event_outside", what, event)
