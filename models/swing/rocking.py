"""Where someone stands still after rocking to and fro to find their steady place, from each foot's pressure.

A stretch is steady when, over at least 2 s, the place of pressure along each foot (its moving mean of 0.25 s)
stays within 4 % of foot length and drifts by no more than 1 % a second, and each foot carries at least a
tenth of the load. Of several stretches the longest counts, of equal ones the last; the place is the median
over it. Common practice, no source.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from warehouse.vocabulary import FEET

FLOATS = NDArray[np.float64]
SMOOTH_S, STEADY_S = 0.25, 2.0
MOST_RANGE_PCT, MOST_DRIFT_PCT_S = 4.0, 1.0
LEAST_PART = 0.1  # of the load, for a foot to be stood on
MEASURES = ("steady_s", *(f"{foot}_along{part}_pct" for foot in FEET for part in ("", "_sd")))
NOT_STEADY: dict[str, float | None] = dict.fromkeys(MEASURES)


def steady_place(columns: Mapping[str, FLOATS], rate_hz: float) -> dict[str, float | None]:
    """How long the steady stretch lasts, s, and each foot's place in it: median and SD, % of foot length.

    `columns` (n,): lead_n, trail_n (N), lead_along_pct, trail_along_pct (NaN where not known). All null where
    no stretch is steady, or a column is missing.
    """
    loads, alongs = ([f"{foot}_{name}" for foot in FEET] for name in ("n", "along_pct"))
    width = round(STEADY_S * rate_hz)
    if not all(name in columns for name in loads + alongs) or columns[loads[0]].size < width + 2:
        return NOT_STEADY
    load = np.stack([columns[name] for name in loads])
    along = np.stack([columns[name] for name in alongs])
    with np.errstate(invalid="ignore", divide="ignore"):
        stood_on = (load / load.sum(axis=0) >= LEAST_PART).all(axis=0)
    start, end = _longest(_steady(along, stood_on, rate_hz, width), width)
    if end == start:
        return NOT_STEADY
    found: dict[str, float | None] = {"steady_s": (end - start) / rate_hz}
    for foot, place in zip(FEET, along[:, start:end], strict=True):
        found |= {f"{foot}_along_pct": float(np.median(place)), f"{foot}_along_sd_pct": float(np.std(place))}
    return found


def _steady(along: FLOATS, stood_on: NDArray[np.bool_], rate_hz: float, width: int) -> NDArray[np.bool_]:
    """(n - width + 1,): whether the stretch of `width` samples from each sample on is steady."""
    span = max(round(SMOOTH_S * rate_hz), 1)
    smooth = np.stack(
        [np.convolve(np.pad(foot, span // 2, "edge"), np.full(span, 1 / span), "valid") for foot in along]
    )
    stretch = np.lib.stride_tricks.sliding_window_view(smooth[:, : along.shape[1]], width, axis=1)
    time = (np.arange(width) - (width - 1) / 2) / rate_hz
    with np.errstate(invalid="ignore"):
        moved = stretch.max(axis=2) - stretch.min(axis=2)
        drift = np.abs(stretch @ time) / (time @ time)
        still = (moved <= MOST_RANGE_PCT) & (drift <= MOST_DRIFT_PCT_S)
    on_both = np.lib.stride_tricks.sliding_window_view(stood_on, width).all(axis=1)
    return np.asarray(still.all(axis=0) & on_both)


def _longest(steady: NDArray[np.bool_], width: int) -> tuple[int, int]:
    """First sample and end of the longest steady stretch, the last of equal ones; (0, 0) without one."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], steady.astype(np.int8), [0]])))
    if edges.size == 0:
        return 0, 0
    starts, ends = edges[::2], edges[1::2] + width - 1
    longest = int(np.flatnonzero(ends - starts == (ends - starts).max())[-1])
    return int(starts[longest]), int(ends[longest])
