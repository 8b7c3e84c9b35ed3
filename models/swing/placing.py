"""Each film of a session on its plate's clock: by its best mark, checked against what its heels do.

A film without a mark is not placed. How its heels move says roughly where it lies (clip_feet.py): enough for
a coach to find the picture of impact, and for heights that need no clock.
"""

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.clip import Clip, HeelRise, heel_rise, stillest_s
from models.swing.clip_feet import USUAL, Moves, heel_moves, impact_by_feet, usual_of
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
from warehouse.traces import SessionTrace

FLOATS = NDArray[np.float64]
Stance = Sequence[float] | None
Impacts = Callable[[], tuple[FLOATS, FLOATS]]
"""Gives the impact (S,) of every swing of the trace, s after its first sample, and its expected error."""

UNSYNCED, HEELS_LOW = "clip_unsynced", "clip_heels_low"
MARKS_DISAGREE, FEET_DISAGREE = "clip_marks_disagree", "clip_feet_disagree"
STRIKES_UNCLEAR, STAMP_UNCLEAR = "clip_strikes_unclear", "clip_stamp_unclear"
QUESTIONS = (MARKS_DISAGREE, FEET_DISAGREE, STRIKES_UNCLEAR)  # a person has to decide which mark is right
KEPT = ("stated", "by_hand")  # sources that do not come from here
PLACED_AS = {
    "clip_offset_s": pl.Float64(), "clip_offset_se_s": pl.Float64(), "clip_offset_source": pl.String(),
    "clip_candidates_s": pl.List(pl.Float64),
}  # fmt: skip
"""Columns of academy.swing that say where a film lies."""


@dataclass
class Placed:
    """By swing_no, where films lie, the flags they earned, and what is known of those that are not placed.

    `candidates` are the offsets among which a person has to choose, one where nothing but the heels says any;
    `rough` what the heels say of films that have no mark at all.
    """

    offsets: dict[int, Offset] = field(default_factory=dict)
    flags: dict[int, list[str]] = field(default_factory=dict)
    candidates: dict[int, list[float]] = field(default_factory=dict)
    rough: dict[int, Offset] = field(default_factory=dict)

    def flag(self, number: int, name: str) -> None:
        """Raise a flag of a swing."""
        self.flags.setdefault(number, []).append(name)

    def onto(self, swings: pl.DataFrame, more: Mapping[int, Offset] | None = None) -> pl.DataFrame:
        """The swings with the columns of their offsets, and of `more` where those say nothing."""
        known = {**(more or {}), **self.offsets}
        numbers = swings["swing_no"].to_list()
        found = [known.get(number) for number in numbers]
        values: tuple[list[Any], ...] = (
            [one and one.offset_s for one in found], [one and one.se_s for one in found],
            [one and one.source for one in found], [self.candidates.get(number) for number in numbers],
        )  # fmt: skip
        return swings.with_columns(
            pl.Series(name, given, dtype=kind)
            for (name, kind), given in zip(PLACED_AS.items(), values, strict=True)
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
        """Place every film; `impacts` is asked once, where no impact is marked on the plate."""
        placed, impacts = Placed(), cache(impacts)
        names = "clip_strikes_s", "clip_strike_se_s"
        strikes, errors = (by_swing(self._swings, name) for name in names)
        kept = self._kept()
        placed.offsets |= kept
        open_ = [no for no in self.filmed if no not in kept]
        impact = {no: found for no in open_ if (found := self._impact(no, impacts)) is not None}
        moves = {no: self._moves(no) for no in open_}
        heard: dict[int, list[Offset]] = {}
        for no in open_:
            self._by_marks(no, placed)
        by_eye = set(placed.offsets)
        for no in open_:
            error, clicks = errors.get(no), strikes.get(no) or ()
            heard[no] = heard_offsets(clicks, error, impact[no]) if no in impact and error is not None else []
            self._weigh(no, heard[no], placed)
            marked = no in placed.offsets or MARKS_DISAGREE in placed.flags.get(no, ())
            if self._clip.stamped and not marked:
                stamped = self._by_stamp(no)
                if stamped is None:
                    placed.flag(no, STAMP_UNCLEAR)
                else:
                    placed.offsets[no] = stamped
        if self._clip.runs_through:
            placed.offsets |= self._on_one_clock(placed.offsets)
        self._check(open_, moves, impact, heard, by_eye, placed)
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

    def _by_marks(self, no: int, placed: Placed) -> None:
        """By events on both clocks: their mean; flagged, and not known, where they disagree."""
        plate, film = self._marks.get((no, "plate"), {}), self._marks.get((no, "clip"), {})
        each = marked_offsets(plate, film, self._clip.fps)
        mean = mean_offset(each) if each else None
        if mean is not None:
            placed.offsets[no] = mean
        elif each:
            placed.flag(no, MARKS_DISAGREE)
            placed.candidates[no] = [one.offset_s for one in each]

    def _impact(self, no: int, impacts: Impacts) -> Mark | None:
        """The impact on the plate's clock, marked or estimated."""
        impact = self._marks.get((no, "plate"), {}).get("impact")
        if impact is not None:
            return impact
        row = self._row_of[no]
        at, error = (float(values[row]) for values in impacts())
        return Mark(at + float(self._trace.t0_s[row]), error) if np.isfinite(at) else None

    @staticmethod
    def _weigh(no: int, heard: list[Offset], placed: Placed) -> None:
        """Marks and the one click that agrees with them; without marks a single click counts."""
        by_eye = placed.offsets.get(no)
        if by_eye is not None:
            agreeing = [one for one in heard if one.agrees(by_eye)]
            if agreeing:
                near = min(agreeing, key=lambda one: abs(one.offset_s - by_eye.offset_s))
                surest_first = sorted((by_eye, near), key=lambda one: one.se_s)
                placed.offsets[no] = mean_offset(surest_first) or by_eye
        elif len(heard) == 1 and MARKS_DISAGREE not in placed.flags.get(no, ()):
            placed.offsets[no] = heard[0]

    def _check(
        self,
        asked: Sequence[int],
        moves: Mapping[int, Moves],
        impact: Mapping[int, Mark],
        heard: Mapping[int, list[Offset]],
        by_eye: Collection[int],
        placed: Placed,
    ) -> None:
        """Hold every mark against what the heels of its film do, by what is usual of the session's own feet.

        A click or stamp that the heels speak against is none. What somebody marked on both clocks (`by_eye`)
        stays and is flagged: a trail heel that is still down at impact rises late, and without such films
        that fault would never be seen. Of several clicks the only one that they speak for counts
        where other films of the session say when its feet move; feet in general leave too wide a stretch.
        """
        known = {
            no: (moves[no], impact[no].t_s - placed.offsets[no].offset_s)
            for no in asked
            if no in placed.offsets and no in impact
        }
        for no in asked:
            usual = usual_of([one for other, one in known.items() if other != no])
            said = impact_by_feet(moves[no], usual)
            offset = placed.offsets.get(no)
            if offset is None and MARKS_DISAGREE not in placed.flags.get(no, ()):
                clicks = heard[no]
                fitting = [one for one in clicks if said is None or said.fits(impact.get(no), one)]
                if len(fitting) == 1 and said is not None and usual != USUAL:
                    placed.offsets[no] = fitting[0]
                elif clicks:
                    placed.flag(no, STRIKES_UNCLEAR)
                    placed.candidates[no] = [one.offset_s for one in fitting or clicks]
            elif offset is not None and said is not None and not said.fits(impact.get(no), offset):
                placed.flag(no, FEET_DISAGREE)
                placed.candidates[no] = [offset.offset_s, impact[no].t_s - said.mark.t_s]
                if no not in by_eye:
                    del placed.offsets[no]
            if no in placed.offsets:
                if not moves[no] and placed.offsets[no].source == "heard":
                    placed.flag(no, HEELS_LOW)
            elif not set(placed.flags.get(no, ())) & set(QUESTIONS):
                placed.flag(no, UNSYNCED)
                if said is not None and no in impact and said.possible:
                    rough = Offset(impact[no].t_s - said.mark.t_s, said.mark.error_s, "feet")
                    placed.rough[no], placed.candidates[no] = rough, [rough.offset_s]

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
        plate = self._marks.get((no, "plate"), {})
        address = plate.get("address") or plate.get("takeaway")
        until = address.t_s - t0 if address else 0.5 * load_n.shape[1] / rate
        stamps, landings = stamps_s(load_n, rate, until), self._landings(no, rise)
        offset = stamp_offset(stamps, landings, self._clip.fps)
        return None if offset is None else Offset(offset.offset_s + t0, offset.se_s, offset.source)

    def _landings(self, no: int, rise: HeelRise) -> list[float]:
        """When heels come down before the address or takeaway on film, else early in it."""
        film = self._marks.get((no, "clip"), {})
        seen = film.get("address") or film.get("takeaway")
        first, count = rise.first_frame / self._clip.fps, rise.lead_mm.size / self._clip.fps
        return landings_of(rise, self._clip.fps, seen.t_s if seen else first + 0.6 * count)

    def _on_one_clock(self, offsets: Mapping[int, Offset]) -> dict[int, Offset]:
        known = {no: one for no, one in offsets.items() if one.source not in KEPT}
        middle = {no: float(self._points[no]["frame"].mean()) / self._clip.fps for no in self.filmed}  # type: ignore[arg-type]
        through = run_through(known, middle)
        return {no: one for no, one in through.items() if no not in offsets or no in known}

    def _rise(self, no: int, *, against_toes: bool = False) -> HeelRise | None:
        points = self._points[no]
        address = self._marks.get((no, "clip"), {}).get("address")
        at = stillest_s(points, self._clip.fps) if address is None else address.t_s
        return heel_rise(points, self._clip, at, self._stance, against_toes=against_toes)

    def _moves(self, no: int) -> Moves:
        rise = self._rise(no, against_toes=True)
        if rise is None:
            return {}
        stamped = self._landings(no, rise) if self._clip.stamped else []
        return heel_moves(rise, self._clip.fps, max(stamped, default=-math.inf))


def place_clips(
    clip: Clip | None,
    trace: SessionTrace,
    swings: pl.DataFrame,
    events: pl.DataFrame,
    stance: Stance,
    impacts: Impacts,
) -> tuple[pl.DataFrame, Placed]:
    """The swings with each film's offset, its standard error, where it is from, and what is in question.

    A swing whose film can't be placed has no offset and a flag that says why.
    """
    if clip is None or trace.swing_no.size == 0:
        return swings, Placed()
    placed = Placing(clip, trace, swings, events, stance).place(impacts)
    return placed.onto(swings), placed
