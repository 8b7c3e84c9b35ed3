"""What filmed heels say of a swing: its metrics, without those too uncertain in time, and when one is up."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from models.swing.clip import FLOATS, UP_MM, HeelRise
from models.swing.clip_feet import LEAD_DOWN, TRAIL_UP, heel_moves
from models.swing.compiled import metric_section
from warehouse.definitions import metric_codes
from warehouse.vocabulary import FEET

MOVES = {"lead": LEAD_DOWN, "trail": TRAIL_UP}
SEEN_SE_S = 0.025  # of a heel's move, to be a measure


@dataclass(frozen=True)
class SeenSwing:
    """Heel rise of one swing and its events on the clip's clock, as the formulas of metrics.toml see it."""

    rise: HeelRise
    events_s: Mapping[str, float]
    fps: float
    timed: bool = True  # how fast the film plays is known

    def at(self, foot: str, event: str) -> float:
        """Rise of a foot's heel at an event, mm; NaN for null."""
        return self.rise.at(foot, self.events_s[event], self.fps) if event in self.events_s else math.nan

    @cached_property
    def moves(self) -> dict[str, float]:
        """When each foot's heel moves, s on the clip's clock; without those lost as they moved."""
        found = heel_moves(self.rise, self.fps) if self.timed else {}
        return {
            foot: found[name].t_s
            for foot, name in MOVES.items()
            if name in found and found[name].error_s <= SEEN_SE_S
        }

    def moves_after(self, foot: str, event: str) -> float:
        """How long after an event a foot's heel moves, s; NaN for null."""
        return self.moves.get(foot, math.nan) - self.events_s.get(event, math.nan)

    def order_ms(self) -> float:
        """How much later the lead heel is half way down than the trail heel half way up, ms; NaN for null."""
        return 1000.0 * (self.moves.get("lead", math.nan) - self.moves.get("trail", math.nan))

    def between(self, foot: str, first: str, last: str) -> tuple[float, float]:
        """(least, highest) rise from one event to another; NaN unless half of the frames are seen."""
        if first not in self.events_s or last not in self.events_s:
            return math.nan, math.nan
        low, high = (
            round(self.events_s[event] * self.fps) - self.rise.first_frame for event in (first, last)
        )
        span = self.rise.of(foot)[max(low, 0) : max(high + 1, 0)]
        if np.isfinite(span).sum() * 2 < max(span.size, 1):
            return math.nan, math.nan
        return float(np.nanmin(span)), float(np.nanmax(span))


def clip_metrics(
    rise: HeelRise | None, events_s: Mapping[str, float], fps: float, *, timed: bool = True
) -> FLOATS:
    """A row of all metrics with those seen on the clip, from event times on its clock; NaN for the others.

    Where nothing says how fast the film plays, it is not `timed`: without how long anything took.
    """
    row = np.full(len(metric_codes()), np.nan)
    if rise is not None and rise.in_mm:
        metric_section().clip_metrics(row, SeenSwing(rise, events_s, fps, timed))
    return row


def withhold_seen(
    row: FLOATS, rise: HeelRise, events_s: Mapping[str, float], doubts: Mapping[str, tuple[float, float]],
    fps: float, spreads: Mapping[str, float],
) -> None:  # fmt: skip
    """Null, in place, what is seen at a time too uncertain for it.

    A metric's own error is the root sum of squares of half its change when the offset moves by ± its standard
    error, and each event by ± its own. Over half the metric's usual spread it is left null. The highest rise
    between two events hardly changes with the offset and stays.
    """
    moves = [{event: own} for event, (own, _) in doubts.items() if own > 0.0 and event in events_s]
    moves.append(
        {event: shared for event, (_, shared) in doubts.items() if shared > 0.0 and event in events_s}
    )
    squares = np.zeros_like(row)
    for by in filter(None, moves):
        early, late = (
            clip_metrics(rise, {name: t + sign * by.get(name, 0.0) for name, t in events_s.items()}, fps)
            for sign in (-1.0, 1.0)
        )
        change = 0.5 * np.abs(late - early)
        squares += np.where(np.isnan(change), np.inf, change**2)
    allowed = np.array([0.5 * spreads.get(name, math.inf) for name in metric_codes()])
    row[np.sqrt(squares) > allowed] = np.nan


def heels_up(
    rise: HeelRise | None, fps: float, clip_time_s: FLOATS
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """1 for each plate sample (its time on the clip's clock) at which a heel is seen over 15 mm up."""
    if rise is None or not rise.in_mm:
        return np.zeros(clip_time_s.size, dtype=np.uint8), np.zeros(clip_time_s.size, dtype=np.uint8)
    frames = np.arange(rise.lead_mm.size) + rise.first_frame
    lead, trail = (
        np.interp(clip_time_s * fps, frames, rise.of(foot), left=np.nan, right=np.nan) > UP_MM
        for foot in FEET
    )
    return lead.astype(np.uint8), trail.astype(np.uint8)
