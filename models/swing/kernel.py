"""The compiled pass: samples of many swings in, one row of plate metrics a swing out.

One call takes the flat columns of a trace file and its offsets. It holds no lock of the interpreter
(`nogil`), allocates its work arrays once a call, and computes in float64 whatever it is given. The metrics
themselves are compiled from the formulas of metrics.toml (formulas.py, compiled.py); here is what they start
from: the events' samples, body weight, and the conditioned signals.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.swing import conditioning as c
from models.swing import operations as ops
from models.swing.compiled import compiled, metric_section
from models.swing.crossing import cross_over
from models.swing.filter import padding
from warehouse.definitions import metric_codes
from warehouse.traces import SessionTrace
from warehouse.vocabulary import SAMPLE_COLUMNS

FLOATS = NDArray[np.float64]
MARKS = NDArray[np.uint8]
NO_MARKS = (np.zeros(0, dtype=np.uint8), np.zeros(0, dtype=np.uint8))
EMPTY = np.zeros(0, dtype=np.float32)
EMPTY.flags.writeable = False
timed_metrics: Callable[[FLOATS, FLOATS, FLOATS], None] = metric_section().timed_metrics
sampled_metrics: Callable[[FLOATS, ops.Swing, float], None] = metric_section().sampled_metrics


@compiled
def reduce_swings(
    columns: c.COLUMNS, offsets: NDArray[np.int64], rate_hz: FLOATS, event_s: FLOATS, stance_mm: FLOATS,
    body_n: float, up: tuple[MARKS, MARKS], metrics: FLOATS, codes: NDArray[np.int64], weight_n: FLOATS,
) -> None:  # fmt: skip
    """Fill `metrics`, `codes` and `weight_n`, one row a swing.

    Args:
        columns: the ten sample columns, each (N,) float32, empty where not delivered.
        offsets: (S + 1,) sample range of each swing.
        rate_hz: (S,).
        event_s: (S, 7) seconds after the swing's first sample, in swing order; NaN where missing.
        stance_mm: (8,) heel and toe points on the floor, lead then trail; empty when not given.
        body_n: body weight from the session, N; NaN when not given.
        up: two (N,) marks, 1 where a clip sees the lead or trail heel over 15 mm up; empty without a clip.
        metrics: (S, M) out, one column a metric of metrics.toml, NaN for null.
        codes: (S, 3) out: crossing, heel source, samples missing from the quiet address window.
        weight_n: (S,) out: mean of lead + trail over the quiet address window, NaN without one.

    Body weight is that mean, else `body_n`, else null. Thresholds (a foot off, both light) then fall back on
    the record's mean load, which is the weight of whoever is at rest before and after it.
    """
    longest, widest_pad = 1, 1
    for i in range(rate_hz.size):
        longest = max(longest, offsets[i + 1] - offsets[i])
        widest_pad = max(widest_pad, padding(c.SWAY_HZ, rate_hz[i], offsets[i + 1] - offsets[i]))
    lanes, places = np.zeros((4, longest + 2 * widest_pad)), np.zeros((4, longest + 2 * widest_pad))
    known, lines = np.zeros((10, longest), dtype=np.uint8), np.zeros((c.LINES, longest))
    at = np.zeros(7, dtype=np.int64)
    own_body = columns[c.COP_X].size > 0 and columns[c.COP_Y].size > 0
    body_of_feet = not own_body and stance_mm.size == 8
    body_of_feet = body_of_feet and columns[c.LEAD_ACROSS].size > 0 and columns[c.TRAIL_ACROSS].size > 0
    for i in range(rate_hz.size):
        n, fs, row = offsets[i + 1] - offsets[i], rate_hz[i], metrics[i]
        row[:] = math.nan
        codes[i, :] = 0
        weight_n[i] = math.nan
        timed_metrics(row, event_s[i], stance_mm)
        if n < 2 or not fs > 0.0:
            continue
        for e in range(7):
            spot = np.rint(event_s[i, e] * fs)
            at[e] = int(spot) if 0.0 <= spot <= n - 1 else -1
        record = c.Record(columns, offsets[i], n, fs, lanes, places, known, lines)
        measured, loaded = c.prepare_loads(record)
        if not loaded:
            continue

        # body weight: the quiet address window, else the session's; for thresholds, else the record's mean
        half = int(np.rint(ops.ADDRESS_HALF_S * fs))
        if at[ops.ADDRESS] >= 0:
            first, last = at[ops.ADDRESS] - half, at[ops.ADDRESS] + half
            weight_n[i] = ops.mean_between(lines[c.TOTAL], n, first, last)
            end = min(last, at[ops.TAKEAWAY]) if at[ops.TAKEAWAY] >= 0 else last
            codes[i, 2] = 2 * half + 1 - max(min(end, n - 1) - max(first, 0) + 1, 0)
        weight = weight_n[i] if weight_n[i] > 0.0 else body_n
        percent = 100.0 / weight if weight > 0.0 else math.nan
        threshold = weight if weight > 0.0 else ops.mean_between(lines[c.TOTAL], n, 0, n - 1)

        c.prepare_shares(n, threshold, lines)
        placed = c.prepare_places(record, threshold, 4 if body_of_feet else 2)
        codes[i, 1] = c.MEASURED if measured else c.ESTIMATED if placed else c.NONE
        c.prepare_heels(record, codes[i, 1], up)

        has_body = own_body or (body_of_feet and placed)
        swing = ops.Swing(
            record, at, event_s[i], stance_mm, percent, codes[i, 1], c.FOOT_OFF * threshold, has_body
        )
        codes[i, 0], crossing = cross_over(swing)
        sampled_metrics(row, swing, crossing)


@dataclass(frozen=True)
class Plate:
    """The kernel's answer for a trace of S swings, in their order."""

    metrics: FLOATS  # (S, M) in the order of metrics.toml, NaN for null and for what a clip shows
    crossing: NDArray[np.int64]  # (S,) index into CROSSINGS
    heel_source: NDArray[np.int64]  # (S,) index into HEEL_SOURCES
    quiet_missing: NDArray[np.int64]  # (S,) samples missing from the quiet address window
    weight_n: FLOATS  # (S,)


@dataclass(frozen=True)
class PlateRun:
    """What the kernel needs of a session whose samples lie on regular clocks."""

    trace: SessionTrace
    event_s: FLOATS  # (S, 7) s after each swing's first sample, NaN where missing
    stance_mm: FLOATS  # (8,) or empty
    body_n: float  # body weight from the session, N; NaN when not given
    heels_up: tuple[MARKS, MARKS] = NO_MARKS  # as reduce_swings takes them

    def reduced(self) -> Plate:
        """Run the kernel."""
        count = self.trace.swing_no.size
        metrics, weight = np.empty((count, len(metric_codes()))), np.empty(count)
        codes = np.zeros((count, 3), dtype=np.int64)
        reduce_swings(
            sample_columns(self.trace), self.trace.offsets, self.trace.rate_hz,
            np.ascontiguousarray(self.event_s), self.stance_mm, self.body_n, self.heels_up, metrics, codes,
            weight,
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


def withhold(plate: Plate, run: PlateRun, error_s: FLOATS, spreads: Mapping[str, float]) -> None:
    """Null what depends on an event too uncertain for it, in place.

    A metric's own error is the root sum of squares, over its uncertain events, of half its change when that
    event moves by ± its expected error (`error_s` (S, 7), s). Where that is over half the metric's usual
    spread, or can't be had, the metric is left null.
    """
    squares = np.zeros_like(plate.metrics)
    uncertain = np.nan_to_num(error_s) > 0.0
    rate_hz = np.where(uncertain.any(axis=1), run.trace.rate_hz, 0.0)  # the other swings are passed over
    run = replace(run, trace=replace(run.trace, rate_hz=rate_hz))
    for event in np.flatnonzero(uncertain.any(axis=0)):
        rows = uncertain[:, event]
        moved = []
        for sign in (-1.0, 1.0):
            event_s = run.event_s.copy()
            event_s[rows, event] += sign * error_s[rows, event]
            moved.append(replace(run, event_s=event_s).reduced().metrics)
        change = 0.5 * np.abs(moved[1] - moved[0])[rows]
        squares[rows] += np.where(np.isnan(change), np.inf, change**2)
    allowed = np.array([0.5 * spreads.get(name, math.inf) for name in metric_codes()])
    plate.metrics[np.sqrt(squares) > allowed] = np.nan
