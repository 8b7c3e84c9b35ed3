"""Checks on samples: which rows are which swing's, a clock's rate, a load that hit its sensor's ceiling."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ingest.plate_rows import Array, Rows

SATURATED_RUN_S, SATURATED_RUN_SAMPLES = 0.03, 5
SNAP_WITHIN = 1e-6


def rows_by_swing(number: NDArray[np.int64]) -> dict[int, Rows]:
    """Rows of each swing in file order, the swings by number."""
    first = np.flatnonzero(np.diff(number)) + 1
    starts, ends = [0, *first.tolist()], [*first.tolist(), number.size]
    found = number[starts].tolist()
    if len(set(found)) == len(found):
        blocks = {no: slice(start, end) for no, start, end in zip(found, starts, ends, strict=True)}
        return {no: blocks[no] for no in sorted(blocks)}
    order = np.argsort(number, kind="stable")
    numbers, first = np.unique(number[order], return_index=True)
    parts = np.split(order, first[1:])
    return {int(no): part for no, part in zip(numbers, parts, strict=True)}


def rows_of(rows: Rows) -> NDArray[np.int64]:
    """The row numbers themselves."""
    return np.arange(rows.start, rows.stop) if isinstance(rows, slice) else rows


def row_of(rows: Rows, place: int) -> int:
    """Number of the row at a place among them."""
    return int(rows.start) + place if isinstance(rows, slice) else int(rows[place])


def together(parts: Sequence[Rows]) -> Rows:
    """Rows one after another; still a slice when each part directly follows the one before."""
    slices = [part for part in parts if isinstance(part, slice)]
    if len(slices) == len(parts) and all(a.stop == b.start for a, b in pairwise(slices)):
        return slice(slices[0].start, slices[-1].stop)
    return np.concatenate([rows_of(part) for part in parts])


def middle(steps: Array) -> float:
    """Median step of a clock (s); 0 without any. Steps that hardly differ are all their own median."""
    if not len(steps):
        return 0.0
    low, high = float(steps.min()), float(steps.max())
    if high - low <= 1e-3 * low:
        return float(steps.mean())
    return float(np.median(steps))


def snapped(rate_hz: float) -> float:
    """A rate within a millionth of a whole number is that number: the rest is the clock's rounding."""
    nearest = round(rate_hz)
    return float(nearest) if nearest and abs(rate_hz - nearest) <= SNAP_WITHIN * nearest else rate_hz


def saturated(load: Array, period_s: float) -> int:
    """Samples at the swing's highest load, when they form a flat run that no living foot makes; else 0."""
    top = load.max()
    at_top = load == top
    count = int(np.count_nonzero(at_top))
    if top <= 0 or count < SATURATED_RUN_SAMPLES:
        return 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], at_top.astype(np.int8), [0]])))
    longest = int((edges[1::2] - edges[::2]).max())
    flat = longest >= SATURATED_RUN_SAMPLES and longest * period_s >= SATURATED_RUN_S
    return count if flat else 0


EVEN_WITHIN = 1e-3  # of the shortest step: closer than this, steps are all alike
ON_GRID_WITHIN = 0.2  # of a sample period
PLAIN_HZ = (110.0, 1900.0)


def plain_swings(rows: Mapping[int, Rows], values: Mapping[str, Array]) -> dict[int, float]:
    """Rates (Hz) of swings whose clock runs evenly on its grid and whose loads never stay at their top.

    Missing values are for the contract to find. None is named where swings lie among one another.
    """
    blocks = {no: part for no, part in rows.items() if isinstance(part, slice) and part.stop - part.start > 1}
    if len(blocks) < len(rows):
        return {}
    numbers = sorted(blocks, key=lambda no: int(blocks[no].start))
    starts = np.array([blocks[no].start for no in numbers])
    ends = np.array([blocks[no].stop for no in numbers])
    counts, time = ends - starts, values["t_s"]
    with np.errstate(invalid="ignore", divide="ignore"):
        low, high = _steps(time, starts, ends)
        first, last = time[starts], time[ends - 1]
        rates = (counts - 1) / (last - first)
        nearest = np.rint(rates)  # `snapped`, for all of them
        rates = np.where(np.abs(rates - nearest) <= SNAP_WITHIN * nearest, nearest, rates)
        place = np.arange(time.size) - np.repeat(starts, counts)
        drift = np.abs(time - (np.repeat(first, counts) + place / np.repeat(rates, counts)))
        plain = (low > 0) & (high - low <= EVEN_WITHIN * low)
        plain &= np.maximum.reduceat(drift, starts) <= ON_GRID_WITHIN * low
        plain &= (rates >= PLAIN_HZ[0]) & (rates <= PLAIN_HZ[1])
    for name in ("lead_n", "trail_n"):
        plain &= _times_at_top(values[name], starts, counts) < SATURATED_RUN_SAMPLES
    return {no: rate for no, fine, rate in zip(numbers, plain, rates.tolist(), strict=True) if fine}


def _steps(time: Array, starts: NDArray[np.int64], ends: NDArray[np.int64]) -> tuple[Array, Array]:
    """Shortest and longest step within each block; steps from one block to the next do not count."""
    steps = np.diff(time)
    bounds = np.stack([starts, ends - 1], axis=1).ravel()[:-1]
    return np.minimum.reduceat(steps, bounds)[::2], np.maximum.reduceat(steps, bounds)[::2]


def _times_at_top(load: Array, starts: NDArray[np.int64], counts: NDArray[np.int64]) -> NDArray[np.int64]:
    at_top = load == np.repeat(np.maximum.reduceat(load, starts), counts)
    return np.add.reduceat(at_top, starts, dtype=np.int64)
