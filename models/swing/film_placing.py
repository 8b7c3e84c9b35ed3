"""Each film of a session on its plate's clock: by its best mark, checked against what its heels do.

A film without a mark is not placed. How its heels move says roughly where it lies (clip_feet.py): enough for
a coach to find the picture of impact, and for heights that need no clock.
"""

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import UTC
from functools import cache

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.clip import Clip, HeelRise, heel_rise, stillest_s
from models.swing.clip_feet import TRAIL_UP, heel_moves, heights_mm
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
from models.swing.film_checks import SeenFilm, check
from models.swing.film_offsets import KEPT, MARKS_DISAGREE, STAMP_UNCLEAR, TAKEN_APART, Placed
from models.swing.film_times import taken_apart
from models.swing.weight_moves import NO_MOVES, weight_moves
from warehouse.traces import SessionTrace
from warehouse.vocabulary import FEET

FLOATS = NDArray[np.float64]
Stance = Sequence[float] | None
Impacts = Callable[[], tuple[FLOATS, FLOATS]]
"""Gives the impact (S,) of every swing of the trace, s after its first sample, and its expected error."""


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
        names = "clip_strikes_s", "clip_strike_se_s", "clip_captured_fps"
        strikes, errors, rates = (by_swing(self._swings, name) for name in names)
        kept = self._kept()
        placed.offsets |= kept
        open_ = [no for no in self.filmed if no not in kept]
        for no in open_:
            self._by_marks(no, placed)
        by_eye = set(placed.offsets)
        films = {no: self._seen(no, self._impact(no, impacts)) for no in self.filmed}
        for no in open_:
            error, clicks, impact = errors.get(no), strikes.get(no) or (), films[no].impact
            heard = heard_offsets(clicks, error, impact) if impact and error is not None else []
            films[no] = replace(films[no], heard=heard, captured=rates.get(no) is not None)
            if self._weigh(no, heard, placed):
                films[no] = replace(films[no], marked={*films[no].marked, "impact"})
            marked = no in placed.offsets or placed.has(no, MARKS_DISAGREE)
            if self._clip.stamped and not marked:
                stamped = self._by_stamp(no)
                if stamped is None:
                    placed.flag(no, STAMP_UNCLEAR)
                else:
                    placed.offsets[no] = stamped
        if self._clip.runs_through:
            placed.offsets |= self._on_one_clock(placed.offsets)
        self._by_time(films, by_eye, impacts, placed)
        check(films, by_eye, self._clip, placed)
        return placed

    def _by_time(
        self, films: Mapping[int, SeenFilm], by_eye: Collection[int], impacts: Impacts, placed: Placed
    ) -> None:
        """By when each file says that it was taken; the strike in one taken at another time is no mark."""
        taken = by_swing(self._swings, "clip_taken_at")
        struck_s: dict[int, float] = {}
        for no, film in films.items():
            placing = placed.offsets.get(no) or next(iter(film.heard), None)
            if taken.get(no) is not None and placing is not None and film.impact is not None:
                struck_s[no] = taken[no].replace(tzinfo=UTC).timestamp() + film.impact.t_s - placing.offset_s
        if not struck_s:
            return
        swung = {no: self._impact(no, impacts) for no in self._row_of.keys() & set(self._swings["swing_no"])}
        for no in taken_apart(struck_s, {no: mark.t_s for no, mark in swung.items() if mark is not None}):
            placed.flag(no, TAKEN_APART)
            placed.candidates[no] = [placed.offsets[no].offset_s] if no in placed.offsets else []
            if no not in by_eye:
                placed.offsets.pop(no, None)

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
    def _weigh(no: int, heard: list[Offset], placed: Placed) -> bool:
        """Marks and the one click that agrees with them; without marks a single click counts.

        Whether there is one that agrees.
        """
        by_eye = placed.offsets.get(no)
        if by_eye is None:
            if len(heard) == 1 and not placed.has(no, MARKS_DISAGREE):
                placed.offsets[no] = heard[0]
            return False
        agreeing = [one for one in heard if one.agrees(by_eye)]
        if agreeing:
            near = min(agreeing, key=lambda one: abs(one.offset_s - by_eye.offset_s))
            surest_first = sorted((by_eye, near), key=lambda one: one.se_s)
            placed.offsets[no] = mean_offset(surest_first) or by_eye
        return bool(agreeing)

    def _seen(self, no: int, impact: Mark | None) -> SeenFilm:
        """What else is known of a film, and of its swing's weight about an impact on the plate."""
        rise, fps = self._rise(no, against_toes=True), self._clip.fps
        plate, film = self._marks.get((no, "plate"), {}), self._marks.get((no, "clip"), {})
        weight = weight_moves(self._trace, self._row_of[no], impact.t_s) if impact else NO_MOVES
        moves: dict[str, Mark] = {}
        if rise is not None:
            stamped = self._landings(no, rise) if self._clip.stamped else []
            moves |= heel_moves(rise, fps, max(stamped, default=-math.inf))
        up = moves.pop(TRAIL_UP, None)
        if up is not None and math.isfinite(weight.heel_late_s):
            moves[TRAIL_UP] = Mark(up.t_s - weight.heel_late_s, up.error_s)
        heights = heights_mm(rise) if rise is not None and not self._clip.stamped else {}
        return SeenFilm(moves, heights, impact, weight, marked=plate.keys() & film.keys())

    def _by_stamp(self, no: int) -> Offset | None:
        """By a stamped heel, before the address or takeaway where one is marked, else early in the record."""
        rise, row = self._rise(no), self._row_of[no]
        loads = [self._trace.columns.get(f"{foot}_n") for foot in FEET]
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
