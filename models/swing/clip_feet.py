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
from numpy.typing import NDArray

from models.swing.clip import HeelRise
from models.swing.clip_marks import Mark, frame_se_s

FLOATS = NDArray[np.float64]
TRAIL_UP, LEAD_DOWN = "trail_up", "lead_down"
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
MAD_TO_SD = 1.4826

Moves = Mapping[str, Mark]
"""When each heel moves, s on the clip's clock, and how surely; without those that lift too little."""


@dataclass(frozen=True)
class FeetImpact:
    """The impact as the heels say it, s on the clip's clock, and how far apart two heels put it, in SEs."""

    mark: Mark
    strain: float

    @property
    def possible(self) -> bool:
        """Whether both heels can be of one swing, and of the feet they are named after."""
        return self.strain <= MOST_SES

    def agrees(self, impact_s: float, error_s: float) -> bool:
        """Whether an impact on the clip's clock is one that these feet could have made."""
        return abs(impact_s - self.mark.t_s) <= MOST_SES * math.hypot(self.mark.error_s, error_s)


def heel_moves(rise: HeelRise, fps: float, after_s: float = -math.inf) -> Moves:
    """When the trail heel is half way up for good, and the lead heel half way down again for good.

    Where a heel was lost as it moved, that is the middle of the gap, and the error as wide. What was before
    `after_s`, as a stamp, is no part of the swing.
    """
    found: dict[str, Mark] = {}
    heels = (TRAIL_UP, rise.trail_mm, LEAST_TRAIL_MM), (LEAD_DOWN, rise.lead_mm, LEAST_LEAD_MM)
    for name, mm, least in heels:
        times = (rise.first_frame + np.arange(mm.size)) / fps
        known = np.flatnonzero(np.isfinite(mm) & (times > after_s))
        if known.size < 2:
            continue
        high = _smoothed(np.interp(np.arange(mm.size), known, mm[known]), max(round(SMOOTHED_S * fps), 1))
        highest = float(np.quantile(high, HIGHEST))
        up = high >= 0.5 * highest
        sides = ~up[: int(np.argmax(high >= 0.95 * highest))] if name == TRAIL_UP else up
        last = np.flatnonzero(sides)  # the last picture before it passes half of its height
        if highest < least or not last.size:
            continue
        k = int(last[-1])
        if k + 1 >= mm.size:  # a lead heel that is up to the end comes down then at the earliest
            if TRAIL_UP not in found and high[-1] >= LEAST_TRAIL_MM:
                found[name] = Mark(float(times[-1]), frame_se_s(fps))
            continue
        at = k + (0.5 * highest - high[k]) / (high[k + 1] - high[k])
        after = int(np.searchsorted(known, k, side="right"))
        before = max(after - 1, 0)
        gap = float(known[min(after, known.size - 1)] - known[before])
        found[name] = Mark((rise.first_frame + at) / fps, max(gap, 1.0) * frame_se_s(fps))
    return found


def impact_by_feet(moves: Moves, usual: Mapping[str, Mark] = USUAL) -> FeetImpact | None:
    """The impact as the heels say it: the mean weighted by 1 / variance; None where neither says when."""
    said = [
        (moved.t_s - usual[name].t_s, math.hypot(moved.error_s, usual[name].error_s))
        for name, moved in moves.items()
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
