"""Small facts about samples: which rows are whose, a clock's rate, a load that hit its sensor's ceiling."""

import numpy as np
from numpy.typing import NDArray

SATURATED_RUN_S, SATURATED_RUN_SAMPLES = 0.03, 5

Array = NDArray[np.float64]


def rows_by_swing(number: NDArray[np.int64]) -> dict[int, NDArray[np.int64]]:
    """Row numbers of each swing in file order."""
    order = np.argsort(number, kind="stable")
    found, first = np.unique(number[order], return_index=True)
    parts = np.split(order, first[1:])
    return {int(no): part for no, part in zip(found, parts, strict=True)}


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
    return float(nearest) if nearest and abs(rate_hz - nearest) <= 1e-6 * nearest else rate_hz


def saturated(load: Array, period_s: float) -> int:
    """Samples at the swing's highest load, when they stand in a flat run no living foot makes; else 0."""
    top = load.max()
    at_top = load == top
    if top <= 0 or np.count_nonzero(at_top) < SATURATED_RUN_SAMPLES:
        return 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], at_top.astype(np.int8), [0]])))
    longest = int((edges[1::2] - edges[::2]).max())
    flat = longest >= SATURATED_RUN_SAMPLES and longest * period_s >= SATURATED_RUN_S
    return int(np.count_nonzero(at_top)) if flat else 0
