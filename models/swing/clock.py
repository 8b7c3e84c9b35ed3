"""Clocks of a session: event times on each swing's own samples, and irregular clocks made regular."""

import math
from itertools import repeat
from operator import add
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from warehouse.traces import SessionTrace
from warehouse.vocabulary import EVENTS

FLOATS = NDArray[np.float64]
GAP_PERIODS = 3.0  # a gap over this many sample periods is a dropout, not something to draw a line through


def event_arrays(trace: SessionTrace, swings: pl.DataFrame, events: pl.DataFrame) -> tuple[FLOATS, FLOATS]:
    """Event times (S, 7), s after each swing's first sample, and their expected errors; NaN where missing.

    An event on the clip's clock counts when the swing's clip offset is known and it has none on the plate's;
    its expected error is then that of the mark and of the offset together.
    """
    if _all_on_plate(events):
        return _plate_arrays(trace, events)
    row_of = {number: row for row, number in enumerate(trace.swing_no.tolist())}
    column_of = {name: column for column, name in enumerate(EVENTS)}
    offset_of, error_of = (by_swing(swings, name) for name in ("clip_offset_s", "clip_offset_se_s"))
    starts = trace.t0_s.tolist()
    times = [[math.nan] * len(EVENTS) for _ in starts]
    errors = [[math.nan] * len(EVENTS) for _ in starts]
    for number, event, t_s, error, clock in event_list(events):
        row, column = row_of.get(number), column_of.get(event)
        shift = 0.0 if clock == "plate" else offset_of.get(number)
        if row is None or column is None or shift is None:
            continue
        if clock != "plate" and not math.isnan(times[row][column]):
            continue
        times[row][column] = t_s + shift - starts[row]
        errors[row][column] = error if clock == "plate" else math.hypot(error, error_of.get(number) or 0.0)
    shape = (len(starts), len(EVENTS))
    return np.array(times, dtype=np.float64).reshape(shape), np.array(errors, dtype=np.float64).reshape(shape)


def _all_on_plate(events: pl.DataFrame) -> bool:
    clocks = events["clock"] if "clock" in events.columns else pl.Series(["plate"])
    return clocks.n_unique() <= 1 and clocks.head(1).to_list() in ([], ["plate"])


def _plate_arrays(trace: SessionTrace, events: pl.DataFrame) -> tuple[FLOATS, FLOATS]:
    """`event_arrays` when every event is on the plate's clock, as in most sessions: all in one go."""
    width, nowhere = len(EVENTS), -(1 << 40)
    row_of = {number: width * row for row, number in enumerate(trace.swing_no.tolist())}
    column_of = {name: column for column, name in enumerate(EVENTS)}
    firsts = map(row_of.get, events["swing_no"].to_list(), repeat(nowhere))
    columns = map(column_of.get, events["event"].to_list(), repeat(nowhere))
    spot = np.fromiter(map(add, firsts, columns), dtype=np.int64, count=len(events))
    known = spot >= 0
    spot = spot[known]
    times, errors = np.full((2, trace.swing_no.size * width), np.nan)
    times[spot] = events["t_s"].to_numpy()[known] - trace.t0_s[spot // width]
    errors[spot] = events["expected_error_s"].to_numpy()[known]
    return times.reshape(-1, width), errors.reshape(-1, width)


def moved_from_clip(trace: SessionTrace, events: pl.DataFrame, event_s: FLOATS) -> NDArray[np.bool_]:
    """(S, 7) which of the times of `event_arrays` came from the clip's clock."""
    if _all_on_plate(events):
        return np.zeros(event_s.shape, dtype=np.bool_)
    row_of = {number: row for row, number in enumerate(trace.swing_no.tolist())}
    moved = np.isfinite(event_s)
    for number, event, _, _, clock in event_list(events):
        if clock == "plate" and number in row_of and event in EVENTS:
            moved[row_of[number], EVENTS.index(event)] = False
    return moved


def event_list(events: pl.DataFrame) -> list[tuple[int, str, float, float, str]]:
    """(swing_no, event, t_s, expected_error_s, clock), the plate's clock first."""
    clocks = events["clock"].to_list() if "clock" in events.columns else ["plate"] * len(events)
    names = ("swing_no", "event", "t_s", "expected_error_s")
    rows = list(zip(*(events[name].to_list() for name in names), clocks, strict=True))
    return rows if set(clocks) <= {"plate"} else sorted(rows, key=lambda row: row[4] != "plate")


def by_swing(swings: pl.DataFrame, column: str) -> dict[int, Any]:
    """{swing_no: value} of a column that may be missing."""
    if column not in swings.columns:
        return {}
    return dict(zip(swings["swing_no"].to_list(), swings[column].to_list(), strict=True))


def clip_events(swings: pl.DataFrame, events: pl.DataFrame) -> dict[int, dict[str, float]]:
    """{swing_no: {event: s on the clip's clock}}; plate times through the offset where that is known."""
    offset_of = by_swing(swings, "clip_offset_s")
    found: dict[int, dict[str, float]] = {int(number): {} for number in swings["swing_no"]}
    for number, event, t_s, _, clock in event_list(events):  # clip times come last and stay
        offset = 0.0 if clock == "clip" else offset_of.get(number)
        if number in found and offset is not None:
            found[number][event] = t_s - offset
    return found


def clip_doubts(swings: pl.DataFrame, events: pl.DataFrame) -> dict[int, dict[str, tuple[float, float]]]:
    """{swing_no: {event: (its own expected error, that of the offset it came through, 0 for none)}}, s."""
    error_of = by_swing(swings, "clip_offset_se_s")
    found: dict[int, dict[str, tuple[float, float]]] = {int(number): {} for number in swings["swing_no"]}
    for number, event, _, error, clock in event_list(events):  # clip times come last and stay
        if number in found:
            found[number][event] = (error, 0.0 if clock == "clip" else error_of.get(number) or 0.0)
    return found


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
        trace.session,
        trace.swing_no,
        np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        np.asarray(rates, dtype=np.float64),
        np.asarray(starts, dtype=np.float64),
        {name: np.concatenate(values) for name, values in parts.items()},
    )
