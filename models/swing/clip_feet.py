"""When the heels of a film move, and what they say of the impact: a rough clock, by which marks are checked.

The trail heel is half way up about impact; the lead heel, where it was lifted, is half way down again about
a quarter of a second before. How long before or after differs from foot to foot (`USUAL`) and hardly from
swing to swing, so that the marked films of a session say it of its own feet. It is never exact to the
picture, and never taken for a mark.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.clip import Clip, HeelRise, heel_rise, stillest_s
from models.swing.clip_marks import Mark, Offset, frame_se_s
from models.swing.event_fit import MAD_TO_SD

FLOATS = NDArray[np.float64]
TRAIL_UP, LEAD_DOWN, LEAD_UP = "trail_up", "lead_down", "lead_up"
IMPOSSIBLE_PACE, EXCHANGED = "clip_pace_impossible", "clip_feet_exchanged"
USUAL = {TRAIL_UP: Mark(0.033, 0.062), LEAD_DOWN: Mark(-0.225, 0.090)}
"""After impact, s: what is usual, and 1.3 times its standard deviation over seven kinds of feet.

The 1.3 was chosen so that a law learned of four kinds holds for the other three (tests/FIGURES.md).
"""
OWN_SE_S = 0.040  # of a session's own feet, from swing to swing
FEWEST_OWN = 3  # marked films that say what is usual of their session's feet
MOST_SES = 3.0  # a mark or a pair of heels farther from what is usual disagrees with it
LEAST_TRAIL_MM, LEAST_LEAD_MM = 20.0, 12.0  # one that lifts less says too little of when
HIGHEST = 0.98  # quantile of a heel's heights that counts as its highest
SMOOTHED_S = 0.03
DOWNSWING_S = (0.10, 0.80)  # top to impact; this and the next four by common practice, no source
SLOWEST_RISE_S, FASTEST_RISE_S = 0.45, 0.020  # the trail heel over the middle half of its rise
LATEST_UP_S = 0.80  # the trail heel, after the lead heel was down
AFTER_IMPACT_S = 0.2  # by then the trail heel is on its way up
SLOWEST_FPS = 30.0  # what slow motion is saved at
SEEN_SE_S = 0.05  # of a moment that says something of the pace

Moves = Mapping[str, Mark]
"""When each heel moves, s on the clip's clock, and how surely; without those that lift too little."""


@dataclass(frozen=True)
class FeetImpact:
    """The impact as the heels suggest it, s on the clip's clock, and how far apart both put it, in SEs."""

    mark: Mark
    strain: float

    @property
    def possible(self) -> bool:
        """Whether both heels can be of one swing, and of the feet they are named after."""
        return self.strain <= MOST_SES

    def fits(self, impact: Mark | None, offset: Offset) -> bool:
        """Whether the heels bear an offset out; with no impact known on the plate, they can't refute it."""
        if impact is None:
            return True
        apart_s = abs(impact.t_s - offset.offset_s - self.mark.t_s)
        return self.possible and apart_s <= MOST_SES * math.hypot(self.mark.error_s, offset.se_s)


@dataclass(frozen=True)
class _Heel:
    """One heel's height as it goes, lost pictures bridged: `known` are those that were seen."""

    high: FLOATS
    known: NDArray[np.int64]
    highest: float
    first_frame: int
    fps: float

    def passes(self, share: float, *, up: bool) -> Mark | None:
        """When it passes a share of its greatest height for good, up to that height or down from it.

        Where it was lost as it moved, that is between the pictures about the gap, and the error as wide.
        None where it was never on both sides.
        """
        over = self.high >= share * self.highest
        sides = ~over[: int(np.argmax(self.high >= 0.95 * self.highest))] if up else over
        last = np.flatnonzero(sides)
        if not last.size or last[-1] + 1 >= self.high.size:
            return None
        k = int(last[-1])
        at = k + (share * self.highest - self.high[k]) / (self.high[k + 1] - self.high[k])
        after = int(np.searchsorted(self.known, k, side="right"))
        gap = float(self.known[min(after, self.known.size - 1)] - self.known[max(after - 1, 0)])
        return Mark((self.first_frame + at) / self.fps, max(gap, 1.0) * frame_se_s(self.fps))


def _heel(
    mm: FLOATS, rise: HeelRise, fps: float, least_mm: float, after_s: float = -math.inf
) -> _Heel | None:
    """A heel that lifts by so much after a time; None of one that does not."""
    times = (rise.first_frame + np.arange(mm.size)) / fps
    known = np.flatnonzero(np.isfinite(mm) & (times > after_s))
    if known.size < 2:
        return None
    high = _smoothed(np.interp(np.arange(mm.size), known, mm[known]), max(round(SMOOTHED_S * fps), 1))
    highest = float(np.quantile(high, HIGHEST))
    return _Heel(high, known, highest, rise.first_frame, fps) if highest >= least_mm else None


def heel_moves(rise: HeelRise, fps: float, after_s: float = -math.inf) -> Moves:
    """When the trail heel is half way up for good, and the lead heel half way up and half way down again.

    What was before `after_s`, as a stamp, is no part of the swing. A lead heel that is up to the end, where
    the trail heel is not, comes down then at the earliest.
    """
    trail = _heel(rise.trail_mm, rise, fps, LEAST_TRAIL_MM, after_s)
    lead = _heel(rise.lead_mm, rise, fps, LEAST_LEAD_MM, after_s)
    found = {
        TRAIL_UP: trail.passes(0.5, up=True) if trail else None,
        LEAD_DOWN: lead.passes(0.5, up=False) if lead else None,
        LEAD_UP: lead.passes(0.5, up=True) if lead else None,
    }
    if lead and exchanged(rise, fps, after_s):
        found[LEAD_DOWN] = Mark((rise.first_frame + lead.high.size) / fps, frame_se_s(fps))
    return {name: moved for name, moved in found.items() if moved is not None}


def heights_mm(rise: HeelRise) -> dict[str, tuple[float, float]]:
    """The greatest height of each heel that lifts and its standard error, mm, by lead and trail."""
    least = {"lead": LEAST_LEAD_MM, "trail": LEAST_TRAIL_MM}
    highest = {foot: float(np.nanquantile(rise.of(foot), HIGHEST)) for foot in least}
    return {foot: (mm, rise.point_se_mm) for foot, mm in highest.items() if mm >= least[foot]}


def exchanged(rise: HeelRise, fps: float, after_s: float = -math.inf) -> bool:
    """Whether the lead heel is up to the end and the trail heel is not: a mirrored film, or feet swapped."""
    trail = _heel(rise.trail_mm, rise, fps, LEAST_TRAIL_MM, after_s)
    lead = _heel(rise.lead_mm, rise, fps, LEAST_TRAIL_MM, after_s)
    stays_up = lead is not None and bool(lead.high[-1] >= 0.5 * lead.highest)
    return stays_up and (trail is None or bool(trail.high[-1] < 0.5 * trail.highest))


def impossible_pace(rise: HeelRise, fps: float, events_s: Mapping[str, float]) -> bool:
    """Whether no swing is that slow or that fast: the film plays slower or faster than it says.

    By the downswing, where top and impact are known, and by the heels: how long the trail heel
    takes over the middle half of its rise, and how long after the lead heel is down it is up.
    """
    if "top" in events_s and "impact" in events_s:
        down_s = events_s["impact"] - events_s["top"]
        if not DOWNSWING_S[0] <= down_s <= DOWNSWING_S[1]:
            return True
    trail = _heel(rise.trail_mm, rise, fps, LEAST_TRAIL_MM)
    quarter, most = (trail and trail.passes(share, up=True) for share in (0.25, 0.75))
    if quarter and most and max(quarter.error_s, most.error_s) < SEEN_SE_S:
        took_s = most.t_s - quarter.t_s
        if took_s > SLOWEST_RISE_S or took_s < FASTEST_RISE_S - 1.0 / fps:
            return True
    moves = heel_moves(rise, fps)
    if not moves.keys() >= USUAL.keys() or max(moves[name].error_s for name in USUAL) > SEEN_SE_S:
        return False
    return moves[TRAIL_UP].t_s - moves[LEAD_DOWN].t_s > LATEST_UP_S


def pace_unknown(clip: Clip, events_s: Mapping[str, float]) -> bool:
    """Whether a film without a plate may be slow motion, and no downswing on it says how fast it plays."""
    return clip.fps <= SLOWEST_FPS and not {"top", "impact"} <= events_s.keys()


def film_doubt(clip: Clip, points: pl.DataFrame, events_s: Mapping[str, float]) -> str | None:
    """The flag of a swing's film that can't be trusted, whatever puts it on the plate's clock; else None.

    `events_s` are on the film's clock. Whether feet are exchanged shows only where the film goes on after
    impact. Nothing is said of one with a stamp before its swing.
    """
    at = events_s.get("address", stillest_s(points, clip.fps))
    rise = heel_rise(points, clip, at, None, against_toes=True)
    if rise is None or clip.stamped:
        return None
    if impossible_pace(rise, clip.fps, events_s):
        return IMPOSSIBLE_PACE
    end_s = (rise.first_frame + rise.lead_mm.size) / clip.fps
    goes_on = end_s - events_s.get("impact", math.inf) >= AFTER_IMPACT_S
    return EXCHANGED if goes_on and exchanged(rise, clip.fps) else None


def impact_by_feet(moves: Moves, usual: Mapping[str, Mark] = USUAL) -> FeetImpact | None:
    """The impact as the heels suggest it: the mean weighted by 1 / variance; None where neither says when."""
    said = [
        (moved.t_s - usual[name].t_s, math.hypot(moved.error_s, usual[name].error_s))
        for name, moved in moves.items()
        if name in usual
    ]
    if not said:
        return None
    values, errors = np.array(said).T
    weight = errors**-2.0
    strain = float(np.ptp(values)) / float(np.hypot.reduce(errors)) if values.size > 1 else 0.0
    return FeetImpact(Mark(float(weight @ values / weight.sum()), float(weight.sum() ** -0.5)), strain)


def usual_of(others: Sequence[tuple[Moves, float]]) -> dict[str, Mark]:
    """What is usual of these feet, by the moves and marked impacts of other films of their session.

    The median of three films or more, so that one wrong mark does not make it; else what is usual of any.
    """
    usual = dict(USUAL)
    for name, of_any in USUAL.items():
        after = np.array([moves[name].t_s - impact_s for moves, impact_s in others if name in moves])
        if after.size >= FEWEST_OWN:
            middle = float(np.median(after))
            spread = MAD_TO_SD * float(np.median(np.abs(after - middle)))
            usual[name] = Mark(middle, min(max(spread, OWN_SE_S), of_any.error_s))
    return usual


def _smoothed(values: FLOATS, width: int) -> FLOATS:
    """Running means."""
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")
