"""The kernel's answer for a trace, and what is withheld of it when events are uncertain."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.swing.columns import PLATE_METRICS
from models.swing.kernel import reduce_swings
from warehouse.traces import SessionTrace
from warehouse.vocabulary import EVENTS, SAMPLE_COLUMNS

FLOATS = NDArray[np.float64]
MARKS = NDArray[np.uint8]
NO_MARKS = (np.zeros(0, dtype=np.uint8), np.zeros(0, dtype=np.uint8))
EMPTY = np.zeros(0, dtype=np.float32)
EMPTY.flags.writeable = False


@dataclass(frozen=True)
class Plate:
    """The kernel's answer for a trace, arrays in the trace's order of swings (S)."""

    metrics: FLOATS  # (S, 35), NaN for null
    crossing: NDArray[np.int64]  # (S,) index into CROSSINGS
    heel_source: NDArray[np.int64]  # (S,) index into HEEL_SOURCES
    quiet_missing: NDArray[np.int64]  # (S,) samples missing from the quiet address window
    weight_n: FLOATS  # (S,)


def plate_metrics(
    trace: SessionTrace,
    event_s: FLOATS,
    stance_mm: FLOATS,
    body_n: float,
    heels_up: tuple[MARKS, MARKS] = NO_MARKS,
) -> Plate:
    """Run the kernel over uniform clocks; `event_s` (S, 7) counts from each swing's first sample."""
    count = trace.swing_no.size
    metrics, weight = np.empty((count, len(PLATE_METRICS))), np.empty(count)
    codes = np.zeros((count, 3), dtype=np.int64)
    reduce_swings(
        sample_columns(trace), trace.offsets, trace.rate_hz, np.ascontiguousarray(event_s), stance_mm, body_n,
        heels_up, metrics, codes, weight,
    )  # fmt: skip
    return Plate(metrics, codes[:, 0], codes[:, 1], codes[:, 2], weight)


def sample_columns(trace: SessionTrace) -> tuple[NDArray[np.float32], ...]:
    """The ten sample columns of a trace for compiled code, empty where not delivered."""
    return tuple(_readonly(trace.columns.get(name)) for name in SAMPLE_COLUMNS)


def _readonly(values: NDArray[np.float32] | None) -> NDArray[np.float32]:
    """One contiguous float32 view that can't be written, so that the kernel is compiled for one type only."""
    if values is None:
        return EMPTY
    view = np.ascontiguousarray(values, dtype=np.float32).view()
    view.flags.writeable = False
    return view


def withhold(
    plate: Plate,
    trace: SessionTrace,
    event_s: FLOATS,
    error_s: FLOATS,
    stance_mm: FLOATS,
    body_n: float,
    spreads: Mapping[str, float],
    heels_up: tuple[MARKS, MARKS] = NO_MARKS,
) -> None:
    """Null what hangs on an event too uncertain for it, in place.

    A metric's own error is the root sum of squares, over its uncertain events, of half its change when that
    event moves by ± its expected error. Over half the usual spread, or not to be had, it is left null.
    """
    squares = np.zeros_like(plate.metrics)
    unsure_swings = np.nan_to_num(error_s).max(axis=1) > 0.0
    trace = replace(trace, rate_hz=np.where(unsure_swings, trace.rate_hz, 0.0))  # the others are passed over
    for event in range(len(EVENTS)):
        unsure = np.nan_to_num(error_s[:, event]) > 0.0
        if not unsure.any():
            continue
        moved = []
        for sign in (-1.0, 1.0):
            shifted = event_s.copy()
            shifted[unsure, event] += sign * error_s[unsure, event]
            moved.append(plate_metrics(trace, shifted, stance_mm, body_n, heels_up).metrics)
        change = 0.5 * np.abs(moved[1] - moved[0])
        squares[unsure] += np.where(np.isnan(change[unsure]), np.inf, change[unsure] ** 2)
    allowed = np.array([0.5 * spreads.get(name, math.inf) for name in PLATE_METRICS])
    plate.metrics[np.sqrt(squares) > allowed] = np.nan
