"""Each film of a session on its plate's clock: by its best mark, else by matching heels to pressure."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.clip import Clip, HeelRise, heel_rise, stillest_s
from models.swing.clip_marks import (
    Mark,
    Offset,
    heard_offsets,
    landings_of,
    marked_offsets,
    mean_offset,
    run_through,
    stamp_offset,
    stamps_s,
)
from models.swing.clock import by_swing, event_list
from models.swing.misfits import FEWEST_TO_COMPARE
from models.swing.sync import ClipSide, PlateSide, match_session, toeward
from warehouse.traces import SessionTrace

FLOATS = NDArray[np.float64]
Stance = Sequence[float] | None
Impacts = Callable[[], tuple[FLOATS, FLOATS]]
"""Gives the impact (S,) of every swing of the trace, s after its first sample, and its expected error."""

UNSYNCED, UNCHECKED = "clip_unsynced", "clip_unchecked"
MARKS_DISAGREE, STRIKES_UNCLEAR = "clip_marks_disagree", "clip_strikes_unclear"
STAMP_UNCLEAR, HEELS_LOW = "clip_stamp_unclear", "clip_heels_low"
HEEL_TIMING_SE_S = 0.050
"""How far a heel may be ahead of its pressure or behind it, which no match can tell from the offset. Of 87
films of eight kinds of feet that were placed, 90 % lay within it and 95 % within twice (tests/FIGURES.md)."""
LEAST_RISE_MM = 20.0  # of the higher heel: one that hardly lifts trades its threshold against time
KEPT = ("stated", "by_hand")  # sources that do not come from here


@dataclass
class Placed:
    """Offsets of films and the flags they earned, by swing_no."""

    offsets: dict[int, Offset] = field(default_factory=dict)
    flags: dict[int, list[str]] = field(default_factory=dict)

    def flag(self, number: int, name: str) -> None:
        """Raise a flag of a swing."""
        self.flags.setdefault(number, []).append(name)

    def onto(self, swings: pl.DataFrame) -> pl.DataFrame:
        """The swings with the columns of their offsets."""
        found = [self.offsets.get(number) for number in swings["swing_no"]]
        return swings.with_columns(
            pl.Series("clip_offset_s", [one and one.offset_s for one in found], dtype=pl.Float64),
            pl.Series("clip_offset_se_s", [one and one.se_s for one in found], dtype=pl.Float64),
            pl.Series("clip_offset_source", [one and one.source for one in found], dtype=pl.String),
        )


class Placing:
    """One session's films, its trace, and what was marked of both."""

    def __init__(
        self, clip: Clip, trace: SessionTrace, swings: pl.DataFrame, events: pl.DataFrame, stance: Stance
    ) -> None:
        self._clip, self._trace, self._swings, self._stance = clip, trace, swings, stance
        self._row_of = {number: row for row, number in enumerate(trace.swing_no.tolist())}
        self._points = {
            int(no): rows for (no,), rows in clip.points.partition_by("swing_no", as_dict=True).items()
        }
        both = self._points.keys() & self._row_of.keys()
        self.filmed = [no for no in swings["swing_no"] if no in both]
        self._marks: dict[tuple[int, str], dict[str, Mark]] = {}
        for no, event, t_s, error_s, clock in event_list(events):
            self._marks.setdefault((no, clock), {})[event] = Mark(t_s, error_s)

    def place(self, impacts: Impacts) -> Placed:
        """Place every film; `impacts` is asked once, where a strike is heard and no impact is marked."""
        placed, impacts = Placed(), cache(impacts)
        names = "clip_strikes_s", "clip_strike_se_s"
        strikes, errors = (by_swing(self._swings, name) for name in names)
        kept = self._kept()
        placed.offsets |= kept
        for no in (no for no in self.filmed if no not in kept):
            marked = self._by_marks(no, placed)
            heard = self._by_sound(no, strikes.get(no) or (), errors.get(no), impacts)
            self._weigh(no, marked, heard, placed)
            if no not in placed.offsets and not marked and self._clip.stamped:
                stamped = self._by_stamp(no)
                if stamped is None:
                    placed.flag(no, STAMP_UNCLEAR)
                else:
                    placed.offsets[no] = stamped
        if self._clip.runs_through:
            placed.offsets |= self._on_one_clock(placed.offsets)
        open_ = [no for no in self.filmed if no not in placed.offsets]
        self._match([no for no in open_ if MARKS_DISAGREE not in placed.flags.get(no, ())], placed)
        return placed

    def _kept(self) -> dict[int, Offset]:
        """Offsets that came with the delivery, or that a coach set."""
        sources, errors = (by_swing(self._swings, f"clip_offset_{name}") for name in ("source", "se_s"))
        kept = {}
        for no, offset_s in by_swing(self._swings, "clip_offset_s").items():
            source, error_s = sources.get(no), errors.get(no)
            if offset_s is not None and (source in KEPT or (source is None and error_s is None)):
                kept[no] = Offset(offset_s, 0.5 / self._clip.fps, source or "stated")
        return kept

    def _by_marks(self, no: int, placed: Placed) -> list[Offset]:
        """By events on both clocks: their mean; flagged, and not known, where they disagree."""
        plate, film = self._marks.get((no, "plate"), {}), self._marks.get((no, "clip"), {})
        each = marked_offsets(plate, film, self._clip.fps)
        if not each:
            return []
        mean = mean_offset(each)
        if mean is None:
            placed.flag(no, MARKS_DISAGREE)
            return each
        placed.offsets[no] = mean
        return [mean]

    def _by_sound(
        self, no: int, strikes_s: Sequence[float], se_s: float | None, impacts: Impacts
    ) -> list[Offset]:
        if not strikes_s or se_s is None:
            return []
        impact = self._marks.get((no, "plate"), {}).get("impact")
        if impact is None:
            row = self._row_of[no]
            at, error = (float(values[row]) for values in impacts())
            if not np.isfinite(at):
                return []
            impact = Mark(at + float(self._trace.t0_s[row]), error)
        return heard_offsets(strikes_s, se_s, impact)

    @staticmethod
    def _weigh(no: int, marked: list[Offset], heard: list[Offset], placed: Placed) -> None:
        """Marks and the one click that agrees with them; without marks a single click counts."""
        by_eye = placed.offsets.get(no)
        if by_eye is not None:
            agreeing = [one for one in heard if one.agrees(by_eye)]
            if agreeing:
                near = min(agreeing, key=lambda one: abs(one.offset_s - by_eye.offset_s))
                surest_first = sorted((by_eye, near), key=lambda one: one.se_s)
                placed.offsets[no] = mean_offset(surest_first) or by_eye
        elif len(heard) == 1 and not marked:
            placed.offsets[no] = heard[0]
        elif heard:
            placed.flag(no, STRIKES_UNCLEAR)

    def _by_stamp(self, no: int) -> Offset | None:
        """By a stamped heel, before the address or takeaway where one is marked, else early in the record."""
        rise, row = self._rise(no), self._row_of[no]
        loads = [self._trace.columns.get(f"{foot}_n") for foot in ("lead", "trail")]
        rate = float(self._trace.rate_hz[row])
        if rise is None or any(load is None for load in loads) or not rate > 0.0:
            return None
        part = slice(int(self._trace.offsets[row]), int(self._trace.offsets[row + 1]))
        load_n = np.array([load[part] for load in loads if load is not None], dtype=np.float64)
        t0 = float(self._trace.t0_s[row])
        plate, film = self._marks.get((no, "plate"), {}), self._marks.get((no, "clip"), {})
        address = plate.get("address") or plate.get("takeaway")
        until = address.t_s - t0 if address else 0.5 * load_n.shape[1] / rate
        seen = film.get("address") or film.get("takeaway")
        first, count = rise.first_frame / self._clip.fps, rise.lead_mm.size / self._clip.fps
        seen_until = seen.t_s if seen else first + 0.6 * count
        offset = stamp_offset(
            stamps_s(load_n, rate, until), landings_of(rise, self._clip.fps, seen_until), self._clip.fps
        )
        return None if offset is None else Offset(offset.offset_s + t0, offset.se_s, offset.source)

    def _on_one_clock(self, offsets: Mapping[int, Offset]) -> dict[int, Offset]:
        known = {no: one for no, one in offsets.items() if one.source not in KEPT}
        middle = {no: float(self._points[no]["frame"].mean()) / self._clip.fps for no in self.filmed}  # type: ignore[arg-type]
        through = run_through(known, middle)
        return {no: one for no, one in through.items() if no not in offsets or no in known}

    def _match(self, asked: Sequence[int], placed: Placed) -> None:
        """Match the films without a mark to the session's plates."""
        if not asked:
            return
        sides = {no: side for no in sorted(asked) if (side := self._clip_side(no)) is not None}
        clips = {no: side for no, side in sides.items() if _range_mm(side.rise_mm) >= LEAST_RISE_MM}
        found = match_session(clips, self._plate_sides())
        frame_s = 1.0 / self._clip.fps
        held = {no: one for no, one in found.items() if one is not None and one.holds(frame_s)}
        for no in asked:
            if no in held:
                error = math.hypot(held[no].se_s, HEEL_TIMING_SE_S)
                placed.offsets[no] = Offset(held[no].lag_s, error, "matched")
                if len(held) < FEWEST_TO_COMPARE:
                    placed.flag(no, UNCHECKED)
            elif no in sides and no not in clips:
                placed.flag(no, HEELS_LOW)
            else:
                placed.flag(no, UNSYNCED)

    def _rise(self, no: int) -> HeelRise | None:
        points = self._points[no]
        address = self._marks.get((no, "clip"), {}).get("address")
        at = stillest_s(points, self._clip.fps) if address is None else address.t_s
        return heel_rise(points, self._clip, at, self._stance)

    def _clip_side(self, no: int) -> ClipSide | None:
        """Heel rise of a swing, if its address and its points were seen."""
        rise = self._rise(no)
        if rise is None or rise.impossible:
            return None
        both = np.array([rise.lead_mm, rise.trail_mm])
        return ClipSide(both, self._clip.fps, rise.first_frame / self._clip.fps)

    def _plate_sides(self) -> dict[int, PlateSide]:
        """Along of both feet of the swings that were measured."""
        trace = self._trace
        loads, alongs = (
            [trace.columns.get(f"{foot}_{name}") for foot in ("lead", "trail")] for name in ("n", "along_pct")
        )
        sides: dict[int, PlateSide] = {}
        for no in self._swings["swing_no"]:
            row = self._row_of.get(no)
            if row is None or trace.rate_hz[row] <= 0.0 or trace.offsets[row + 1] - trace.offsets[row] < 2:
                continue
            part = slice(int(trace.offsets[row]), int(trace.offsets[row + 1]))
            rate = float(trace.rate_hz[row])
            feet = [
                None if load is None or along is None
                else toeward(load[part].astype(np.float64), along[part].astype(np.float64), rate)
                for load, along in zip(loads, alongs, strict=True)
            ]  # fmt: skip
            lines = [line for line in feet if line is not None]
            if len(lines) == 2:
                sides[no] = PlateSide(np.array(lines), rate, float(trace.t0_s[row]))
        return sides


def place_clips(
    clip: Clip | None,
    trace: SessionTrace,
    swings: pl.DataFrame,
    events: pl.DataFrame,
    stance: Stance,
    impacts: Impacts,
) -> tuple[pl.DataFrame, dict[int, list[str]]]:
    """The swings with each film's offset, its standard error and where it is from; and flags by swing_no.

    A swing whose film can't be placed has no offset and a flag that says why.
    """
    if clip is None or trace.swing_no.size == 0:
        return swings, {}
    placed = Placing(clip, trace, swings, events, stance).place(impacts)
    return placed.onto(swings), placed.flags


def _range_mm(rise_mm: FLOATS) -> float:
    """How far the higher of two heels comes up; wild points left out."""
    seen = [row[np.isfinite(row)] for row in rise_mm]
    return max((float(np.ptp(np.quantile(row, [0.02, 0.98]))) for row in seen if row.size), default=0.0)
