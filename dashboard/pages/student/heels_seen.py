"""What films marked by eye say: each heel up or down at each moment, how long, and which heel moved first."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import polars as pl

from dashboard.queries import by_eye
from dashboard.section import Section
from dashboard.text.catalogue import _, mark
from dashboard.text.labels import EVENTS as EVENT_NAMES
from dashboard.text.labels import PACES
from dashboard.text.numbers import number, on
from warehouse.access import Reader
from warehouse.vocabulary import EVENTS

HEELS = {True: mark("up"), False: mark("down")}


def part(reader: Reader, student: str) -> Section | None:
    """The films marked of a student, newest first; None where none was."""
    found = by_eye.heels_seen(reader, student)
    if found.is_empty():
        return None
    films = [group.to_dicts() for group in found.partition_by("session", "swing_no", maintain_order=True)]
    shown = [event for event in EVENTS if event in found["event"].to_list()]
    rows = pl.DataFrame([_row(film, shown) for film in films], infer_schema_length=None)
    notes = [
        _(
            "Seen on an ordinary film. Times are those of the pictures that were marked; a heel moved "
            "somewhere between the two moments around it."
        )
    ]
    if found["lead_rise_mm"].count() + found["trail_rise_mm"].count():
        notes.append(
            _(
                "Heights come from the heels and toes tapped on the pictures: how far a heel is above its "
                "place at address, scaled by the length of the shoe. The ± allows for error in both."
            )
        )
    said = (order(films[0]), *differences(films[0]))
    return Section(table=(rows, _("Heels on film")), sentences=said, notes=tuple(notes))


def _row(film: Sequence[dict[str, Any]], shown: Sequence[str]) -> dict[str, Any]:
    at = {moment["event"]: moment for moment in film}
    times = {event: moment["t_s"] for event, moment in at.items()}
    first = film[0]
    row = {
        _("Day"): first["day"],
        _("Club"): first["club"],
        _("Pace"): PACES.get(first["pace"], first["pace"]),
    }
    for event in shown:
        row[EVENT_NAMES[event]] = _heels(at[event]) if event in at else ""
    for name, start, end in ((_("Going back"), "takeaway", "top"), (_("Coming down"), "top", "impact")):
        known = start in times and end in times
        row[name] = number(times[end] - times[start], "s", 2) if known else ""
    return row


def _heels(moment: dict[str, Any]) -> str:
    said = []
    for foot, pattern in (("lead", _("lead {heel}")), ("trail", _("trail {heel}"))):
        if moment[f"{foot}_up"] is None:
            continue
        heel, rise_mm = _(HEELS[moment[f"{foot}_up"]]), moment.get(f"{foot}_rise_mm")
        if rise_mm is not None and moment[f"{foot}_up"]:
            heel = f"{heel} ({number(rise_mm, 'mm')} ± {number(moment[f'{foot}_rise_se_mm'], 'mm')})"
        said.append(pattern.format(heel=heel))
    return ", ".join(said)


def differences(film: Sequence[dict[str, Any]]) -> list[str]:
    """A question for each heel that the eye and the tapped points say different things of."""
    text = _(
        "At {moment} the eye and the tapped points disagree about the {foot} heel; look at that picture "
        "again."
    )
    return [
        text.format(moment=EVENT_NAMES[moment["event"]], foot=name)
        for moment in film
        for foot, name in (("lead", _("lead")), ("trail", _("trail")))
        if moment[f"{foot}_differ"]
    ]


def order(film: Sequence[dict[str, Any]]) -> str:
    """Whether the lead heel was down again before the trail heel rose, as far as the moments tell."""
    lead = _change(film, "lead_up", before=True)
    trail = _change(film, "trail_up", before=False)
    if lead is None or trail is None:
        return ""
    least, most = sorted((abs(trail[0] - lead[1]), abs(trail[1] - lead[0])))
    span = _("{least} to {most}") if round(least, 2) else _("up to {most}")
    if lead[1] <= trail[0]:
        said = _("On {day} the lead heel was down again {span} before the trail heel rose.")
    elif trail[1] <= lead[0]:
        said = _("On {day} the trail heel rose {span} before the lead heel was down again.")
    else:
        said = _(
            "On {day} the lead heel came down and the trail heel rose between the same two moments, so which "
            "was first can't be told; mark a moment between them."
        )
    span = span.format(least=number(least, "s", 2), most=number(most, "s", 2))
    return said.format(day=on(film[0]["day"]), span=span)


def _change(film: Sequence[dict[str, Any]], heel: str, *, before: bool) -> tuple[float, float] | None:
    """Between which two times a heel that was `before` (up: true) last changed; None where it never did."""
    seen = [(moment["t_s"], moment[heel]) for moment in film if moment[heel] is not None]
    changes = [
        (start, end) for (start, was), (end, now) in pairwise(seen) if was is before and now is not before
    ]
    return changes[-1] if changes and before else changes[0] if changes else None
