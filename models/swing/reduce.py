"""Traces to metrics: one session in, its rows of academy.swing_metric and its swings' flags out.

The work of each sample is the kernel's (kernel.py); here the events are put in order, irregular clocks are
laid on a uniform grid, and the flags of each swing are gathered. A session is one task that depends on
nothing else, so many can run side by side.
"""

import math
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.columns import CROSSINGS, EVENTS, HEEL_SOURCES, METRIC_COLUMNS, PLATE_METRICS
from models.swing.kernel import reduce_swings
from models.swing.quality import SwingFlags, feet_look_swapped, model_flags
from warehouse.traces import SAMPLE_COLUMNS, SessionTrace, read_trace

FLOATS = NDArray[np.float64]
GRAVITY = 9.80665  # m/s², standard gravity
NO_MARKS = (np.zeros(0, dtype=np.uint8), np.zeros(0, dtype=np.uint8))
EMPTY = np.zeros(0, dtype=np.float32)
EMPTY.flags.writeable = False
GAP_PERIODS = 3.0  # a gap over this many sample periods is a dropout, not something to draw a line through


@dataclass(frozen=True)
class Reduction:
    """What became of one session: rows of academy.swing_metric, and usable, flags and heel source a swing."""

    metrics: pl.DataFrame
    swings: pl.DataFrame


@dataclass(frozen=True)
class Plate:
    """The kernel's answer for a trace, arrays in the trace's order of swings (S)."""

    metrics: FLOATS  # (S, 35), NaN for null
    crossing: NDArray[np.int64]  # (S,) index into CROSSINGS
    heel_source: NDArray[np.int64]  # (S,) index into HEEL_SOURCES
    quiet_missing: NDArray[np.int64]  # (S,) samples missing from the quiet address window
    weight_n: FLOATS  # (S,)


def reduce_session(
    trace: SessionTrace,
    swings: pl.DataFrame,
    events: pl.DataFrame,
    *,
    stance_mm: Sequence[float] | None,
    body_mass_kg: float | None,
    feet_checked: bool = False,
    spreads: Mapping[str, float] | None = None,
) -> Reduction:
    """Reduce one session's samples to metrics and flags.

    Args:
        trace: the session's samples; swings of it that `swings` does not name (holds) are passed over.
        swings: rows of academy.swing of this session (swing_no, pace, club_family, file flags are read).
        events: rows of academy.swing_event of this session.
        stance_mm: heel and toe points, 8 numbers (lead heel x, y, lead toe, trail heel, trail toe), or None.
        body_mass_kg: from the session, or None.
        feet_checked: somebody looked, and the feet are not swapped.
        spreads: usual session-to-session spread of each metric. A metric whose own error, from the expected
            errors of its events, is over half of it is left null; None: nothing is withheld.

    Returns:
        One row a swing of `swings`, in its order; all-null metrics for one without samples.
    """
    uniform = on_uniform_grid(trace)
    stance = np.asarray(stance_mm if stance_mm is not None else [], dtype=np.float64)
    body_n = body_mass_kg * GRAVITY if body_mass_kg else math.nan
    event_s, error_s = event_arrays(uniform, swings, events)
    plate = plate_metrics(uniform, event_s, stance, body_n)
    if spreads is not None and np.any(error_s > 0.0):
        withhold(plate, uniform, event_s, error_s, stance, body_n, spreads)
    row_of = {int(number): row for row, number in enumerate(uniform.swing_no)}
    rows = [row_of.get(int(number), -1) for number in swings["swing_no"]]
    flags = model_flags(
        swings, rows, uniform.rate_hz, event_s, error_s, plate.quiet_missing, plate.weight_n, body_n
    )
    finish = plate.metrics[:, PLATE_METRICS.index("finish_lead_share_pct")]
    if not feet_checked and feet_look_swapped(swings, rows, finish):
        flags = [known.with_flag("feet_swapped", 1) for known in flags]
    return Reduction(
        _metric_rows(trace.session, swings, rows, plate),
        _swing_rows(trace.session, swings, rows, plate, flags),
    )


def plate_metrics(
    trace: SessionTrace,
    event_s: FLOATS,
    stance_mm: FLOATS,
    body_n: float,
    heels_up: tuple[NDArray[np.uint8], NDArray[np.uint8]] = NO_MARKS,
) -> Plate:
    """Run the kernel over uniform clocks; `event_s` (S, 7) counts from each swing's first sample."""
    count = trace.swing_no.size
    metrics, weight = np.empty((count, len(PLATE_METRICS))), np.empty(count)
    codes = np.zeros((count, 3), dtype=np.int64)
    columns = tuple(_readonly(trace.columns.get(name)) for name in SAMPLE_COLUMNS)
    reduce_swings(
        columns, trace.offsets, trace.rate_hz, np.ascontiguousarray(event_s), stance_mm, body_n, heels_up,
        metrics, codes, weight,
    )  # fmt: skip
    return Plate(metrics, codes[:, 0], codes[:, 1], codes[:, 2], weight)


def _readonly(values: NDArray[np.float32] | None) -> NDArray[np.float32]:
    """One contiguous float32 view that can't be written, so that the kernel is compiled for one type only."""
    if values is None:
        return EMPTY
    view = np.ascontiguousarray(values, dtype=np.float32).view()
    view.flags.writeable = False
    return view


def event_arrays(trace: SessionTrace, swings: pl.DataFrame, events: pl.DataFrame) -> tuple[FLOATS, FLOATS]:
    """Event times (S, 7), s after each swing's first sample, and their expected errors; NaN where missing.

    An event on the clip's clock counts when the swing's clip offset is known and it has none on the plate's.
    """
    row_of = {int(number): row for row, number in enumerate(trace.swing_no)}
    column_of = {name: column for column, name in enumerate(EVENTS)}
    offset_of: dict[int, float | None] = {}
    if "clip_offset_s" in swings.columns:
        offset_of = dict(zip(swings["swing_no"], swings["clip_offset_s"], strict=True))
    times = np.full((trace.swing_no.size, len(EVENTS)), np.nan)
    errors = np.full_like(times, np.nan)
    wanted = ["swing_no", "event", "t_s", "expected_error_s"]
    clocks = events["clock"].to_list() if "clock" in events.columns else ["plate"] * len(events)
    for clock, (number, event, t_s, error) in zip(clocks, events.select(wanted).iter_rows(), strict=True):
        row, column = row_of.get(number), column_of.get(event)
        shift = 0.0 if clock == "plate" else offset_of.get(number)
        if row is None or column is None or shift is None:
            continue
        if clock != "plate" and not math.isnan(times[row, column]):
            continue
        times[row, column] = t_s + shift - trace.t0_s[row]
        errors[row, column] = error
    return times, errors


def on_uniform_grid(trace: SessionTrace) -> SessionTrace:
    """The same trace with regular clocks, each swing at its own rate; gaps over 3 periods stay open."""
    if trace.t_s is None:
        return trace
    parts: dict[str, list[NDArray[np.float32]]] = {name: [] for name in trace.columns}
    counts, rates, starts = [], [], []
    for low, high, given in zip(trace.offsets[:-1], trace.offsets[1:], trace.rate_hz, strict=True):
        times = trace.t_s[low:high]
        steps = np.diff(times)
        rate = given if given > 0.0 else (1.0 / float(np.median(steps)) if steps.size else 1.0)
        start = float(times[0]) if times.size else 0.0
        grid = start + np.arange(int((times[-1] - start) * rate + 1e-6) + 1 if times.size else 0) / rate
        gap = np.zeros(grid.size, dtype=bool)
        for left in np.flatnonzero(steps > GAP_PERIODS / rate):
            gap |= (grid > times[left]) & (grid < times[left + 1])
        for name, values in trace.columns.items():
            drawn = np.interp(grid, times, values[low:high].astype(np.float64)) if times.size else grid
            parts[name].append(np.where(gap, np.nan, drawn).astype(np.float32))
        counts.append(grid.size)
        rates.append(rate)
        starts.append(start)
    return SessionTrace(
        trace.session, trace.swing_no, np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        np.asarray(rates, dtype=np.float64), np.asarray(starts, dtype=np.float64),
        {name: np.concatenate(values) for name, values in parts.items()},
    )  # fmt: skip


def withhold(
    plate: Plate,
    trace: SessionTrace,
    event_s: FLOATS,
    error_s: FLOATS,
    stance_mm: FLOATS,
    body_n: float,
    spreads: Mapping[str, float],
) -> None:
    """Null what hangs on an event too uncertain for it, in place.

    A metric's own error is the root sum of squares, over its uncertain events, of half its change when that
    event moves by ± its expected error. Over half the usual spread, or not to be had, it is left null.
    """
    squares = np.zeros_like(plate.metrics)
    for event in range(len(EVENTS)):
        unsure = np.nan_to_num(error_s[:, event]) > 0.0
        if not unsure.any():
            continue
        moved = []
        for sign in (-1.0, 1.0):
            shifted = event_s.copy()
            shifted[unsure, event] += sign * error_s[unsure, event]
            moved.append(plate_metrics(trace, shifted, stance_mm, body_n).metrics)
        change = 0.5 * np.abs(moved[1] - moved[0])
        squares[unsure] += np.where(np.isnan(change[unsure]), np.inf, change[unsure] ** 2)
    allowed = np.array([0.5 * spreads.get(name, math.inf) for name in PLATE_METRICS])
    plate.metrics[np.sqrt(squares) > allowed] = np.nan


def _metric_rows(session: str, swings: pl.DataFrame, rows: list[int], plate: Plate) -> pl.DataFrame:
    """Rows of academy.swing_metric."""
    there = np.asarray(rows, dtype=np.int64)
    values = np.full((len(rows), len(PLATE_METRICS)), np.nan)
    values[there >= 0] = plate.metrics[there[there >= 0]]
    crossings = [CROSSINGS[plate.crossing[row]] if row >= 0 else None for row in rows]
    frame = pl.DataFrame(values, schema=list(PLATE_METRICS), orient="row").fill_nan(None)
    keys = [
        pl.Series("session", [session] * len(rows), dtype=pl.String),
        swings["swing_no"].cast(pl.Int32),
        pl.Series("crossing", crossings, dtype=pl.String),
    ]
    nulls = [
        pl.lit(None, dtype=pl.Float64).alias(name) for name in METRIC_COLUMNS if name not in PLATE_METRICS
    ]
    return pl.DataFrame(keys).hstack(frame).with_columns(nulls)


def _swing_rows(
    session: str, swings: pl.DataFrame, rows: list[int], plate: Plate, flags: list[SwingFlags]
) -> pl.DataFrame:
    """session, swing_no, usable, flags, flag_counts, heel_source."""
    there = np.isfinite(np.delete(plate.metrics, PLATE_METRICS.index("stance_width_mm"), 1))
    computed = np.asarray(there.any(axis=1))
    return pl.DataFrame(
        {
            "session": [session] * len(rows),
            "swing_no": swings["swing_no"].cast(pl.Int32),
            "usable": [bool(row >= 0 and computed[row]) for row in rows],
            "flags": [known.names for known in flags],
            "flag_counts": [known.counts for known in flags],
            "heel_source": [HEEL_SOURCES[plate.heel_source[row]] if row >= 0 else "none" for row in rows],
        },
        schema={
            "session": pl.String, "swing_no": pl.Int32, "usable": pl.Boolean, "flags": pl.List(pl.String),
            "flag_counts": pl.List(pl.Int32), "heel_source": pl.String,
        },
    )  # fmt: skip


@dataclass(frozen=True)
class SessionTask:
    """What one session's reduction needs; plain data, so that it may run in another process or machine."""

    path: Path
    swings: pl.DataFrame
    events: pl.DataFrame
    stance_mm: Sequence[float] | None = None
    body_mass_kg: float | None = None
    feet_checked: bool = False


def reduce_task(task: SessionTask) -> Reduction:
    """Read one trace file and reduce it.

    Raises
        UnderfootError: the trace file is missing or is not a trace.
    """
    return reduce_session(
        read_trace(task.path), task.swings, task.events, stance_mm=task.stance_mm,
        body_mass_kg=task.body_mass_kg, feet_checked=task.feet_checked,
    )  # fmt: skip


def reduce_sessions(
    tasks: Iterable[SessionTask],
    *,
    executor: Executor | None = None,
    progress: Callable[[int], None] | None = None,
) -> list[Reduction]:
    """Reduce many sessions side by side, answers in the order of the tasks.

    Default: one thread a core (the kernel holds no lock); any `concurrent.futures` executor will do.
    `progress` is called with the number done after each.
    """
    if executor is None:
        with ThreadPoolExecutor(os.cpu_count()) as threads:
            return reduce_sessions(tasks, executor=threads, progress=progress)
    done = []
    for reduction in executor.map(reduce_task, tasks):
        done.append(reduction)
        if progress is not None:
            progress(len(done))
    return done
