"""One look at a whole session's samples that finds the swings with nothing to tell.

Its limits are stricter than the rules of samples.py, so that a swing it passes meets those; every other swing
is looked at by itself.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ingest.sample_checks import SATURATED_RUN_SAMPLES, SNAP_WITHIN, Array, Rows

EVEN_WITHIN = 1e-3  # of the shortest step: closer than this, steps are all alike
ON_GRID_WITHIN = 0.2  # of a sample period
CALM_HZ = (110.0, 1900.0)


def calm_swings(rows: Mapping[int, Rows], values: Mapping[str, Array]) -> dict[int, float]:
    """Rates (Hz) of swings whose clock runs evenly on its grid and whose loads never stand flat at the top.

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
        calm = (low > 0) & (high - low <= EVEN_WITHIN * low)
        calm &= np.maximum.reduceat(drift, starts) <= ON_GRID_WITHIN * low
        calm &= (rates >= CALM_HZ[0]) & (rates <= CALM_HZ[1])
    for name in ("lead_n", "trail_n"):
        calm &= _times_at_top(values[name], starts, counts) < SATURATED_RUN_SAMPLES
    return {no: rate for no, fine, rate in zip(numbers, calm, rates.tolist(), strict=True) if fine}


def _steps(time: Array, starts: NDArray[np.int64], ends: NDArray[np.int64]) -> tuple[Array, Array]:
    """Shortest and longest step within each block; the step from one block to the next is nobody's."""
    steps = np.diff(time)
    bounds = np.stack([starts, ends - 1], axis=1).ravel()[:-1]
    return np.minimum.reduceat(steps, bounds)[::2], np.maximum.reduceat(steps, bounds)[::2]


def _times_at_top(load: Array, starts: NDArray[np.int64], counts: NDArray[np.int64]) -> NDArray[np.int64]:
    at_top = load == np.repeat(np.maximum.reduceat(load, starts), counts)
    return np.add.reduceat(at_top, starts, dtype=np.int64)
