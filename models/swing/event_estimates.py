"""Unmarked events, estimated from the plate: by the academy's own fit where there is one, else by rules.

A rule is a landmark and a usual distance from it, with a wide stated error (common practice, no source). It
is used until the academy has enough marked swings for a fit (event_fit.py), and then as a check: an estimate
that differs from the rule's by more than the rule's own error takes that difference as its expected error, so
that a swing unlike those of the fit does not get the fit's small error.
"""

from typing import NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.clock import on_uniform_grid
from models.swing.event_fit import EventFit, predict
from models.swing.kernel import sample_columns
from models.swing.landmarks import LANDMARKS, QUIET, find_landmarks
from warehouse.tables import columns
from warehouse.traces import SessionTrace
from warehouse.vocabulary import EVENTS

FLOATS = NDArray[np.float64]


class Rule(NamedTuple):
    """An event comes `shift_s` after a landmark, give or take `error_s`."""

    landmark: str
    shift_s: float
    error_s: float


RULES = {
    "address": Rule("quiet", -0.30, 0.40),  # standing still before takeaway
    "takeaway": Rule("away_1", -0.06, 0.08),  # the first move begins before it stands out from sway
    "mid_back": Rule("fall_70", 0.08, 0.10),
    "top": Rule("total_dip", 0.00, 0.08),
    "mid_down": Rule("surge_50", 0.05, 0.06),
    "impact": Rule("total_peak", 0.05, 0.06),
    "finish": Rule("total_low", 0.40, 0.20),
}
FROM_THE_STAND = ("address", "takeaway", "mid_back")

NO_ROWS = pl.DataFrame(schema=columns("academy.swing_event"))
"""Most sessions have every event marked; making an empty DataFrame for each of them would take time."""


def landmarks_of(trace: SessionTrace, wanted: NDArray[np.bool_]) -> FLOATS:
    """Landmarks (S, 48) of the wanted swings of a trace with regular clocks; NaN for the others."""
    marks = np.empty((trace.swing_no.size, len(LANDMARKS)))
    find_landmarks(sample_columns(trace), trace.offsets, np.where(wanted, trace.rate_hz, 0.0), marks)
    return marks


def fill_events(
    trace: SessionTrace, event_s: FLOATS, error_s: FLOATS, wanted: NDArray[np.bool_], fit: EventFit
) -> NDArray[np.bool_]:
    """Put estimates where `event_s` (S, 7) is NaN, and their expected errors in `error_s`, in place.

    Only `wanted` swings (S,) are looked at. An estimate outside the record or out of swing order is not used:
    marked events are kept, and of two estimates the less certain goes. A record without a swing gets none.

    Returns
        (S, 7) which events are estimates.
    """
    missing = np.isnan(event_s) & wanted[:, None] & (trace.rate_hz > 0.0)[:, None]
    rows = np.asarray(missing.any(axis=1), dtype=np.bool_)
    if not rows.any():
        return missing
    marks = landmarks_of(trace, rows)
    for column, event in enumerate(EVENTS):
        times, errors = estimate(event, marks, fit)
        at = missing[:, column] & np.isfinite(times)
        event_s[at, column], error_s[at, column] = times[at], errors[at]
    ends = np.diff(trace.offsets) / np.where(trace.rate_hz > 0.0, trace.rate_hz, 1.0)
    for row in np.flatnonzero(rows):
        _keep_order(event_s[row], error_s[row], missing[row], float(ends[row]))
    return np.asarray(missing & np.isfinite(event_s))


def moments(trace: SessionTrace, fit: EventFit) -> dict[int, dict[str, tuple[float, float]]]:
    """Swing number → event → its time (s, plate clock) and expected error (s), as the plate alone shows them.

    An event that can't be estimated is left out.
    """
    uniform = on_uniform_grid(trace)
    event_s, error_s = (np.full((uniform.swing_no.size, len(EVENTS)), np.nan) for _ in range(2))
    found = fill_events(uniform, event_s, error_s, np.ones(uniform.swing_no.size, dtype=np.bool_), fit)
    return {
        int(number): {
            EVENTS[k]: (float(event_s[row, k] + uniform.t0_s[row]), float(error_s[row, k]))
            for k in np.flatnonzero(found[row])
        }
        for row, number in enumerate(uniform.swing_no)
    }


def estimate(event: str, marks: FLOATS, fit: EventFit) -> tuple[FLOATS, FLOATS]:
    """Times (n,) of an event, s after each swing's first sample, and their expected errors; NaN for none.

    Events on the way to the top are measured from the stand before it: where a player never stood still there
    is no estimate of them.
    """
    rule, model = RULES[event], fit.models.get(event)
    times = marks[:, LANDMARKS.index(rule.landmark)] + rule.shift_s
    errors = np.full(len(marks), rule.error_s)
    if model is not None:
        fitted = predict(model, marks)
        known, apart = np.isfinite(fitted), np.abs(fitted - times)
        times = np.where(known, fitted, times)
        errors = np.where(apart > rule.error_s, apart, model.error_s)
        errors = np.where(known, errors, max(rule.error_s, model.error_s))
    unknown = np.isnan(marks[:, QUIET]) & (event in FROM_THE_STAND)
    return np.where(unknown, np.nan, times), errors


def _keep_order(event_s: FLOATS, error_s: FLOATS, estimated: NDArray[np.bool_], end_s: float) -> None:
    """Take estimates of one swing (7,) out, the least certain first, until the events are in order."""
    outside = estimated & ((event_s < 0.0) | (event_s > end_s))
    event_s[outside] = error_s[outside] = np.nan
    while True:
        there = np.flatnonzero(np.isfinite(event_s))
        back = np.flatnonzero(np.diff(event_s[there]) <= 0.0)
        pair = {int(k) for first in back for k in there[first : first + 2] if estimated[k]}
        if not pair:
            return
        worst = max(pair, key=lambda k: (error_s[k], k))
        event_s[worst] = error_s[worst] = np.nan


def event_rows(
    trace: SessionTrace,
    event_s: FLOATS,
    error_s: FLOATS,
    estimated: NDArray[np.bool_],
    moved: NDArray[np.bool_],
) -> pl.DataFrame:
    """Rows of academy.swing_event on the plate's clock: events `estimated`, or `moved` from the clip's."""
    made = estimated | moved
    if not made.any():
        return NO_ROWS
    at, column = np.nonzero(made)
    values = {
        "session": [trace.session] * at.size, "swing_no": trace.swing_no[at],
        "event": [EVENTS[k] for k in column], "t_s": event_s[at, column] + trace.t0_s[at],
        "source": np.where(estimated[made], "estimated", "clip"), "expected_error_s": error_s[at, column],
        "clock": ["plate"] * at.size,
    }  # fmt: skip
    return pl.DataFrame(values, NO_ROWS.schema)
