"""Visits to the plate, and moves of the load from foot to foot: which of them are shaped like a swing.

In every full swing the load goes to one foot, comes back over the middle to the other within a moment, and
surges and drops meanwhile. Standing, waggles, steps and broken-off backswings do one of these at most.
Limits: common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
HZ = 100.0  # of the even clock on which swings are looked for
SMOOTH_S = 0.07
REACH = round(0.12 * HZ)  # samples before and after one, between which its step is
ON = 0.3  # of the usual load: less, and nobody stands there
LEAST_STEP = 0.05  # share that passes from foot to foot within 2 × REACH
BACK_S, THROUGH_S, STAND_S = 1.3, 0.8, 2.2
LEAST_FALL, LEAST_OVER, LEAST_RISE = 0.04, 0.02, 0.09  # shares: to the trail side, past the start, in all
LEAST_SURGE = 0.05  # of the standing load, from the peak to the low after it
LEAST_FOOT = 0.045  # share on the lead foot at the top: with less it is lifted
SAME_LOAD = 0.025  # of a standing load: visits nearer than this are one person's
GAP_S = 0.15  # without samples: what happened meanwhile is not known


@dataclass(frozen=True)
class Line:
    """Both feet's load and the lead foot's share of it on an even clock; `known` where there are samples."""

    first_s: float
    total: Array
    share: Array
    on: NDArray[np.bool_]
    known: NDArray[np.bool_]

    @classmethod
    def of(cls, t_s: Array, lead_n: Array, trail_n: Array) -> "Line":
        """From samples in order of time, at any rate; more than one in a step of the clock are averaged."""
        first = float(t_s[0])
        place = np.floor((t_s - first) * HZ + 1e-6).astype(np.int64)
        n = int(place[-1]) + 1
        count = np.bincount(place, minlength=n)
        filled = np.flatnonzero(count)
        grid = np.arange(n)
        loads = []
        for load in (lead_n, trail_n):
            mean = np.bincount(place, load, n)[filled] / count[filled]
            loads.append(smooth(np.interp(grid, filled, mean), SMOOTH_S))
        since = filled[np.clip(np.searchsorted(filled, grid, side="right") - 1, 0, None)]
        until = filled[np.clip(np.searchsorted(filled, grid), None, filled.size - 1)]
        total = loads[0] + loads[1]
        usual = float(np.median(total[total > 0.2 * np.quantile(total, 0.95)])) if total.max() > 0 else 1.0
        on = total > ON * usual
        share = np.where(on, loads[0] / np.where(on, total, 1.0), 0.5)
        return cls(first, total, share, on, (until - since) <= GAP_S * HZ)


def smooth(values: Array, seconds: float) -> Array:
    """Mean over a window, which is shorter at both ends."""
    half = max(1, round(seconds * HZ / 2))
    sums = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(values.size)
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, values.size)
    return np.asarray((sums[high] - sums[low]) / (high - low))


def steepest(share: Array) -> NDArray[np.int64]:
    """Samples where a share changes fastest, by LEAST_STEP or more; one in each such move."""
    step = np.zeros(share.size)
    if share.size > 2 * REACH:
        step[REACH:-REACH] = share[2 * REACH :] - share[: -2 * REACH]
    size = np.abs(step)
    moving = np.concatenate([[0], (size >= LEAST_STEP) * np.sign(step), [0]]).astype(np.int64)
    edges = np.flatnonzero(np.diff(moving))
    spans = [(a, b) for a, b in pairwise(edges) if moving[a + 1]]
    return np.array([a + int(np.argmax(size[a:b])) for a, b in spans], dtype=np.int64)


@dataclass(frozen=True)
class Move:
    """A move of the load that is shaped like a swing, in samples, with what tells it from others."""

    start: int
    peak: int  # the trail foot carries most
    strike: int
    end: int
    toward: int
    rise: float
    surge: float
    down_s: float
    back_share: float  # the trail foot's share at its peak
    broken: bool

    @property
    def shape(self) -> Array:
        """Quickness, size and force, as logarithms: a practice swing has less of each."""
        return np.log([1.0 / self.down_s, self.rise, max(self.surge, 0.0) + 0.02])


def swing_like(line: Line, at: int, *, force: bool) -> Move | None:
    """The swing whose load passes to the lead foot fastest at a sample; None where it is none.

    Without `force` the whole load is not known, and its surge is not asked for.
    """
    n, share, total = line.share.size, line.share, line.total
    toward = 1 if share[min(at + REACH, n - 1)] > share[max(at - REACH, 0)] else -1
    lead = share if toward > 0 else 1.0 - share
    low, high = max(0, at - round(BACK_S * HZ)), min(n, at + round(THROUGH_S * HZ))
    peak = low + int(np.argmin(lead[low : at + 1]))
    stand = slice(max(0, peak - round(STAND_S * HZ)), max(1, peak - round(0.5 * HZ)))
    end = at + int(np.argmax(lead[at:high]))
    if peak - stand.start < HZ or not line.on[stand.start : min(end + round(0.5 * HZ), n)].all():
        return None
    level = float(np.median(lead[stand]))
    fall, rise = level - lead[peak], lead[end] - lead[peak]
    if fall < LEAST_FALL or lead[end] < level + LEAST_OVER or rise < LEAST_RISE or lead[peak] < LEAST_FOOT:
        return None
    weight = float(np.median(total[stand]))
    top = at - round(0.2 * HZ) + int(np.argmax(total[at - round(0.2 * HZ) : at + round(0.3 * HZ)]))
    surge = float(total[top] - total[top : top + round(0.6 * HZ)].min()) / weight
    if force and surge < LEAST_SURGE:
        return None
    over = lead[peak:end]
    a, b = (int(np.argmax(over > lead[peak] + part * rise)) for part in (0.2, 0.8))
    back = lead[stand.start : peak]
    still = np.flatnonzero(back > lead[peak] + 0.85 * fall)
    start = stand.start + int(still[-1]) if still.size else stand.start
    broken = not line.known[start:end].all()
    down_s, back_share = max(b - a, 1) / HZ, float(1.0 - lead[peak])
    return Move(start, peak, at, end, toward, float(rise), surge, down_s, back_share, broken)


def standing_loads(total: Array, on: NDArray[np.bool_]) -> tuple[NDArray[np.int64], dict[int, float]]:
    """Which visit to the plate each sample belongs to, and each visit's standing load above the zero of then.

    Visits are separated by half a second without anybody. The zero is what the empty plate shows around them.
    """
    off = ~_closed(on, round(0.5 * HZ))
    visits = np.cumsum(np.diff(off.astype(np.int8), prepend=1) < 0, dtype=np.int64)
    empty = off & (smooth(on.astype(np.float64), 2.0) <= 0.0)  # nobody is stepping on or off
    calm = np.abs(np.gradient(total)) * HZ < 0.5 * total
    where = np.arange(total.size)
    zeros = np.interp(where, where[empty], smooth(total[empty], 3.0)) if empty.sum() > HZ else 0.0 * total
    loads = {}
    for visit in np.unique(visits):
        here = (visits == visit) & on & calm
        loads[int(visit)] = float(np.median((total - zeros)[here])) if here.any() else 0.0
    return visits, loads


def _closed(on: NDArray[np.bool_], gap: int) -> NDArray[np.bool_]:
    """The same with short stretches without anybody filled."""
    edges = np.flatnonzero(np.diff(np.concatenate([[1], on, [1]])))
    filled = on.copy()
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        if b - a < gap:
            filled[a:b] = True
    return filled


def same_load(loads: Sequence[float]) -> list[int]:
    """A number for each load, the same for what may be one person's: no step over 2.5 % between them."""
    order = np.argsort(loads)
    steps = np.diff(np.log(np.maximum(np.asarray(loads)[order], 1.0)))
    found = np.zeros(len(order), dtype=int)
    found[order[1:]] = np.cumsum(steps > SAME_LOAD)
    return [int(one) for one in found]
