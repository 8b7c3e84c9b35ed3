"""Rows of the warehouse from what the readers found: one pure function a table."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import polars as pl
import pyarrow as pa

from ingest.film.tracks import Filmed, Unread
from ingest.plate_rows import FoundSwing, SwingSamples
from ingest.session_file import Event, HoldEntry, SessionHeader
from warehouse.errors import Refusal
from warehouse.tables import columns
from warehouse.traces import SessionTrace

Row = dict[str, Any]


@dataclass(frozen=True)
class SessionRows:
    """Everything of one session that will land: rows by table, clip points, trace; and what was refused."""

    header: SessionHeader
    season: str | None
    trace: SessionTrace | None
    rows: dict[str, list[Row]]
    points: pl.DataFrame
    refused: list[Refusal]
    notices: list[str] = field(default_factory=list)
    films: list[Filmed] = field(default_factory=list)
    unread: list[Unread] = field(default_factory=list)


def typed(table: str, rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Rows as a frame of the table's own types; what a row does not name is null."""
    kinds = columns(table)
    if not rows:  # as most tables of most sessions
        return pl.DataFrame(schema=kinds)
    return pl.DataFrame([_column(name, [row.get(name) for row in rows], kinds[name]) for name in kinds])


def _column(name: str, values: list[Any], kind: Any) -> pl.Series:
    """One column; lists go through Arrow, since Polars alone would make a small series of each."""
    if isinstance(kind, pl.List):
        return pl.Series(name, pa.array(values, type=_arrow_type(kind)), dtype=kind)
    return pl.Series(name, values, dtype=kind)


@cache
def _arrow_type(kind: Any) -> pa.DataType:
    return pl.Series([], dtype=kind).to_arrow().type


def session_row(
    header: SessionHeader, season: str | None, delivery: str, *, has_plate: bool, has_clip: bool
) -> dict[str, Any]:
    """The one row of academy.session."""
    clip, names = header.clip, ("session", "student", "coach", "started_at", "day", "club", "body_mass_kg")
    return {name: getattr(header, name) for name in names} | {
        "season": season,
        "device": header.device if has_plate else None,
        "delivery": delivery,
        "stance_mm": list(header.stance_mm) if header.stance_mm else None,
        "has_plate": has_plate,
        "has_clip": has_clip,
        "clip_fps": clip and clip.fps,
        "shoe_length_mm": clip and clip.shoe_length_mm,
        "clip_view": clip and clip.view,
        "clip_mm_per_px": clip and clip.mm_per_px,
        "shoe_width_mm": clip and clip.shoe_width_mm,
        "clip_sync": clip and clip.sync,
        "clip_runs_through": clip and clip.runs_through,
        "feet_checked": header.feet_checked,
        "reduced": False,
    }


def swing_row(
    header: SessionHeader,
    no: int,
    good: SwingSamples | None,
    flags: Mapping[str, int],
    film: Filmed | None = None,
    found: FoundSwing | None = None,
) -> dict[str, Any]:
    """One row of academy.swing; `good` is None for a swing seen only on a clip, or not found on the grid.

    `film` is the swing's, if it has one; `found` where it was cut from a recording.
    """
    swing = header.swings[no]
    names = ("club", "club_family", "part", "pace", "drill")
    offset_s = header.clip.offset_s if header.clip and good else None
    strikes_s, error_s = None, None
    if film is not None and header.clip is not None:
        strikes_s, error_s = film.strikes(header.clip.microphone_m)
    return {name: getattr(swing, name) for name in names} | {
        "session": header.session,
        "swing_no": no,
        "device": header.device if good else None,
        "rate_hz": good.rate_hz if good else None,
        "n_samples": good.n_samples if good else 0,
        "t0_s": good.t0_s if good else None,
        "usable": False,
        "flags": list(flags),
        "flag_counts": list(flags.values()),
        "file_flags": list(flags),
        "file_flag_counts": list(flags.values()),
        "kind": found and found.kind,
        "sure": found and found.sure,
        "heel_source": "none" if good is None else "measured" if good.heels else "estimated",
        "clip_shoe_width_px": film and film.tracks.shoe_width_px,
        "clip_strikes_s": strikes_s,
        "clip_strike_se_s": error_s,
        "clip_taken_at": film and film.tracks.taken_at,
        "clip_captured_fps": film and film.tracks.captured_fps,
        "clip_offset_s": offset_s,
        "clip_offset_source": None if offset_s is None else "stated",
    }


def event_row(session: str, no: int, event: Event) -> dict[str, Any]:
    """One row of academy.swing_event."""
    given = {"event": event.event, "t_s": event.t_s, "clock": event.clock}
    return {"session": session, "swing_no": no, "source": "marked", "expected_error_s": 0.0} | given


def film_rows(
    session: str, kept: Sequence[int], events: Mapping[int, Sequence[Event]], films: Mapping[int, Filmed]
) -> dict[str, list[dict[str, Any]]]:
    """Rows of what heels did on film in the swings kept: by eye, and roughly by their shoes' outline."""
    seen = [
        {"session": session, "swing_no": no, "event": event.event, "t_s": event.t_s}
        | {"foot": foot, "up": heel == "up", "source": "eye"}
        for no in kept
        for event in events.get(no, ())
        for foot, heel in event.heels.items()
    ]
    rises = [
        {"session": session, "swing_no": no, "foot": outline.foot}
        | {"times_s": [round(at / films[no].slower, 4) for at in outline.times_s]}
        | {"rises_mm": list(outline.rises_mm), "refused": outline.refused}
        for no in kept
        if no in films
        for outline in films[no].outlines
    ]
    return {"academy.heel_seen": seen, "academy.outline_rise": rises}


def hold_row(session: str, hold: HoldEntry, good: SwingSamples) -> dict[str, Any]:
    """One row of academy.hold; without from_s and to_s it is the whole recording."""
    start = good.t0_s if hold.from_s is None else hold.from_s
    end = good.end_s if hold.to_s is None else hold.to_s
    span = {"from_s": start, "to_s": end, "seconds": end - start}
    clock = {"rate_hz": good.rate_hz, "n_samples": good.n_samples, "t0_s": good.t0_s}
    what = {"eyes": hold.eyes, "rocking": hold.rocking}
    return {"session": session, "swing_no": hold.no} | what | span | clock


def from_lines(lines: Iterable[dict[str, Any]], delivery: str, *, loose: bool) -> list[dict[str, Any]]:
    """Lines of notes or shots with where they came from."""
    return [line | {"delivery": delivery, "loose": loose} for line in lines]


def note_frames(notes: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """The tables that notes fill: notes, drills set in a lesson or practised at home, nudge checks."""
    if notes.is_empty():
        return {"academy.note": notes}
    common = ("note", "student", "session", "at", "day")
    doses = notes.filter(pl.col("kind").is_in(["drill", "practice"])).select(
        *common, "kind", "place", "unit", "pace", "drawn_against", drill="code", dose="value"
    )
    checks = notes.filter(pl.col("kind") == "steadiness")
    single = checks.filter(pl.col("code").is_not_null())
    nudges = pl.concat(
        [
            single.with_columns(direction="code", is_lost=pl.col("grade") == 1),
            *(
                checks.with_columns(direction=pl.col(column).str.split(" "), is_lost=is_lost)
                .explode("direction")
                .drop_nulls("direction")
                for column, is_lost in (("held", pl.lit(value=False)), ("lost", pl.lit(value=True)))
            ),
        ]
    ).select(*common, "author", "direction", "announced", "stood_by", lost="is_lost", eyes="unit")
    return {"academy.note": notes, "academy.drill_dose": doses, "academy.steadiness": nudges}
