"""Traces to metrics: one session in, its rows of academy.swing_metric and its swings' flags out.

The work of each sample is the kernel's (kernel.py); here a session's events, clip and flags come together.
A session is one task that depends on nothing else, so many can run side by side.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.answers import Answer, Reduction, feet_look_swapped, gather, model_flags
from models.swing.clip import SCALE_SE_PCT, Clip, HeelRise, heel_rise
from models.swing.clip_feet import MOST_SES, film_doubt, pace_unknown
from models.swing.clip_metrics import clip_metrics, heels_up, withhold_seen
from models.swing.clock import (
    by_swing,
    clip_doubts,
    clip_events,
    event_arrays,
    moved_from_clip,
    on_uniform_grid,
)
from models.swing.event_estimates import event_rows, fill_events
from models.swing.event_fit import EventFit
from models.swing.film_offsets import (
    HEEL_BEFORE_LOAD,
    PACE_UNKNOWN,
    PLACED_AS,
    QUESTIONS,
    STRIKES_UNCLEAR,
    Placed,
)
from models.swing.film_placing import place_clips
from models.swing.formulas import load_codes, plate_codes
from models.swing.holds import hold_rows
from models.swing.kernel import NO_MARKS, PlateRun, withhold
from models.swing.operations import IMPACT
from warehouse.definitions import metric_codes
from warehouse.traces import SessionTrace, read_trace
from warehouse.units import STANDARD_GRAVITY_M_S2

FLOATS = NDArray[np.float64]
MARKS = NDArray[np.uint8]
SWINGS = NDArray[np.bool_]
IMPOSSIBLE_HEIGHTS = "clip_heights_impossible"
IN_QUESTION = {*QUESTIONS} - {STRIKES_UNCLEAR}  # without an offset, nothing is taken from such a film
# Found at import: Python 3.11 may fail where two threads parse formulas at the same moment.
PLATE_COLUMNS = np.array([metric_codes().index(code) for code in plate_codes()])
LOAD_COLUMNS = [metric_codes().index(code) for code in load_codes()]
# What moves by less than half of this wherever a film may lie needs no clock.
CLOCKLESS = {code: 0.004 if code.endswith("_s") else 4.0 for code in metric_codes()}
SURE_ENOUGH_S = 0.020  # of a clip's offset, to change what the plate estimates under a heel


@dataclass(frozen=True)
class SessionTask:
    """What one session's reduction needs; plain data, so that it may run in another process or machine.

    Attributes:
        samples: the trace file or what was read from it; swings of it that `swings` does not name (holds) are
            passed over. None for a session seen only on a clip.
        swings: rows of academy.swing of this session (swing_no, pace, club_family, file flags, clip offset).
        events: rows of academy.swing_event of this session.
        stance_mm: heel and toe points, 8 numbers (lead heel x, y, lead toe, trail heel, trail toe), or None.
        body_mass_kg: from the session, or None.
        feet_checked: somebody looked, and the feet are not swapped.
        clip: the session's clip points, or None. A heel seen over 15 mm up carries nothing on the plate.
        spreads: usual session-to-session spread of each metric. A metric whose own error, from the expected
            errors of its events, is over half of it is left null; None: nothing is withheld.
        event_fit: the academy's fit (without models: the rules), from which events that are not marked are
            estimated; None: nothing is estimated. Putts are no swings here.
        holds: rows of academy.hold of this session, whose samples are in the same trace.
    """

    samples: SessionTrace | Path | None
    swings: pl.DataFrame
    events: pl.DataFrame
    stance_mm: Sequence[float] | None = None
    body_mass_kg: float | None = None
    feet_checked: bool = False
    clip: Clip | None = None
    spreads: Mapping[str, float] | None = None
    event_fit: EventFit | None = None
    holds: pl.DataFrame | None = None

    def trace(self) -> SessionTrace | None:
        """The samples, read from their file where they are one.

        Raises
            UnderfootError: the file is missing or is not a trace.
        """
        return read_trace(self.samples) if isinstance(self.samples, Path) else self.samples


def reduce_session(
    samples: SessionTrace | Path | None, swings: pl.DataFrame, events: pl.DataFrame, **more: Any
) -> Reduction:
    """Reduce one session to rows; `more` is what else a SessionTask takes.

    Returns:
        One row a swing of `swings`, in its order; all-null metrics for one without samples or clip.
    """
    return gather([answer_task(SessionTask(samples, swings, events, **more))])


def answer_task(task: SessionTask) -> Answer:
    """Reduce one session, its rows not made yet: `gather` makes those of many sessions at once.

    In this order: the clip is put on the plate's clock, events nobody marked are estimated, the kernel
    computes the metrics, those that depend on an uncertain event are withheld, and the flags are raised.

    Raises
        UnderfootError: the trace file is missing or is not a trace.
    """
    trace = task.trace()
    uniform = on_uniform_grid(trace) if trace is not None else _no_samples(task.swings)
    row_of = {number: row for row, number in enumerate(uniform.swing_no.tolist())}
    rows = [row_of.get(number, -1) for number in task.swings["swing_no"].to_list()]
    uniform = _without_holds(uniform, rows)
    films = task.clip, uniform, task.swings, task.events, task.stance_mm
    swings, placed = place_clips(*films, lambda: _plate_impacts(task, uniform, rows))
    event_s, error_s = event_arrays(uniform, swings, task.events)
    moved = moved_from_clip(uniform, task.events, event_s)
    estimated = np.zeros(event_s.shape, dtype=bool)
    if task.event_fit is not None and np.isnan(event_s).any():
        swung = _swung(swings, rows, event_s.shape[0])
        estimated = fill_events(uniform, event_s, error_s, swung, task.event_fit)
    # What the plate measures goes beside what the clip shows.
    values, rises = _clip_of(task, swings, rows, placed)
    stance_mm = np.asarray(task.stance_mm if task.stance_mm is not None else [], dtype=np.float64)
    body_n = task.body_mass_kg * STANDARD_GRAVITY_M_S2 if task.body_mass_kg else math.nan
    heels = _heels_up(uniform, swings, rows, rises, task.clip, placed)
    run = PlateRun(uniform, event_s, stance_mm, body_n, heels)
    plate = run.reduced()
    if task.spreads is not None and np.any(error_s > 0.0):
        withhold(plate, run, error_s, task.spreads)
    _without_loads(plate.metrics, swings, rows)
    flags = model_flags(swings, rows, run, plate, estimated | np.isnan(event_s))
    for place, number in enumerate(swings["swing_no"] if placed.flags else ()):
        for name in placed.flags.get(number, ()):
            flags[place] = flags[place].with_flag(name, 1)
    if not task.feet_checked and feet_look_swapped(swings, rows, plate.metrics):
        flags = [known.with_flag("feet_swapped", 1) for known in flags]
    there = np.asarray(rows, dtype=np.int64)
    here = there >= 0
    values[np.ix_(here, PLATE_COLUMNS)] = plate.metrics[np.ix_(there[here], PLATE_COLUMNS)]
    codes = np.zeros((2, there.size), dtype=np.int64)
    codes[:, here] = np.stack([plate.crossing, plate.heel_source])[:, there[here]]
    return Answer(
        _keys(swings, rises), values, codes[0], codes[1], flags,
        event_rows(uniform, event_s, error_s, estimated, moved), hold_rows(trace, task.holds, task.stance_mm),
        _heel_rows(task, swings, rows, rises),
    )  # fmt: skip


def _without_loads(metrics: FLOATS, swings: pl.DataFrame, rows: Sequence[int]) -> None:
    """Null, in place, what needs the size of a load, for swings whose device gave shares alone."""
    flagged = zip(rows, swings["file_flags"].to_list(), strict=True)
    bare = [row for row, names in flagged if row >= 0 and "shares_only" in (names or ())]
    if bare:
        metrics[np.ix_(bare, LOAD_COLUMNS)] = np.nan


def _keys(swings: pl.DataFrame, rises: list[HeelRise | None]) -> pl.DataFrame:
    """Session and swing_no of the swings, how their clips lie on the plate, and each clip's scale.

    Put together from columns, since a query per session would take longer than a swing's reduction.
    """
    columns, n = [swings["session"], swings["swing_no"]], len(swings)
    for name, kind in PLACED_AS.items():
        given = swings[name] if name in swings.columns else pl.Series(name, [None] * n, dtype=kind)
        columns.append(given if given.dtype == kind else given.cast(kind))
    if not any(rises):
        return pl.DataFrame([*columns, *_no_scales(n)])
    sources = [rise.scale if rise else None for rise in rises]
    errors = [SCALE_SE_PCT.get(scale or "") for scale in sources]
    columns.append(pl.Series("clip_scale_source", sources, dtype=pl.String))
    columns.append(pl.Series("clip_scale_se_pct", errors, dtype=pl.Float64))
    return pl.DataFrame(columns)


@lru_cache(maxsize=64)
def _no_scales(n: int) -> tuple[pl.Series, pl.Series]:
    """The scale columns of n swings without a clip, as in most sessions."""
    return (
        pl.Series("clip_scale_source", [None] * n, dtype=pl.String),
        pl.Series("clip_scale_se_pct", [None] * n, dtype=pl.Float64),
    )


def _plate_impacts(task: SessionTask, trace: SessionTrace, rows: list[int]) -> tuple[FLOATS, FLOATS]:
    """The impact of every swing on the plate's own clock, marked or estimated, and its expected error."""
    on_plate = task.events.filter(clock="plate") if "clock" in task.events.columns else task.events
    event_s, error_s = event_arrays(trace, task.swings, on_plate)
    if task.event_fit is not None:
        fill_events(trace, event_s, error_s, _swung(task.swings, rows, event_s.shape[0]), task.event_fit)
    return event_s[:, IMPACT], error_s[:, IMPACT]


def _swung(swings: pl.DataFrame, rows: list[int], count: int) -> SWINGS:
    """Which swings of the trace are asked for and no putts."""
    swung = np.zeros(count, dtype=bool)
    clubs = zip(rows, swings["club_family"].to_list(), strict=True)
    swung[[row for row, club in clubs if row >= 0 and club != "putter"]] = True
    return swung


def _no_samples(swings: pl.DataFrame) -> SessionTrace:
    """A trace of no swing, for a session seen only on a clip."""
    none = np.zeros(0)
    session = swings["session"][0] if len(swings) else ""
    return SessionTrace(session, none.astype(np.int32), np.zeros(1, dtype=np.int64), none, none, {})


def _without_holds(trace: SessionTrace, rows: list[int]) -> SessionTrace:
    """The same trace with no rate for the swings nobody asked for, which the kernel then passes over."""
    asked = np.zeros(trace.swing_no.size, dtype=bool)
    asked[[row for row in rows if row >= 0]] = True
    return trace if asked.all() else replace(trace, rate_hz=np.where(asked, trace.rate_hz, 0.0))


def _clip_of(
    task: SessionTask, swings: pl.DataFrame, rows: Sequence[int], placed: Placed
) -> tuple[FLOATS, list[HeelRise | None]]:
    """Rows of all metrics (swings, M), NaN but for those seen on the clip, and each swing's heel rise.

    A swing whose film's marks, pace, feet or heights are in question is flagged in `placed` and has neither.
    A film without any mark lies where its heels say, give or take three standard errors: only what is the
    same all over that stretch, and so needs no clock, is kept. Where nothing says how fast a film plays,
    that is what it shows at address and at impact.
    """
    values = np.full((len(swings), len(metric_codes())), np.nan)
    if task.clip is None:
        return values, [None] * len(swings)
    rough = placed.onto(swings, placed.rough) if placed.rough else swings
    events_of, doubt_of = clip_events(rough, task.events), clip_doubts(rough, task.events)
    points_of = task.clip.points.partition_by("swing_no", as_dict=True)
    captured = by_swing(swings, "clip_captured_fps")
    rises = []
    for place, (number, row) in enumerate(zip(swings["swing_no"], rows, strict=True)):
        at, doubts, spreads = events_of[number], doubt_of[number], task.spreads
        points = points_of.get((number,), task.clip.points.clear())
        rise = heel_rise(points, task.clip, at.get("address"), task.stance_mm)
        doubt = film_doubt(task.clip, points, at)
        if doubt is not None:
            placed.flag(number, doubt)
        in_question = number not in placed.offsets and placed.has(number, *IN_QUESTION)
        if doubt is not None or in_question or placed.has(number, HEEL_BEFORE_LOAD):
            rise = None
        if rise is not None and rise.impossible:
            placed.flag(number, IMPOSSIBLE_HEIGHTS)
            rise = None
        if number in placed.rough:
            doubts = {event: (0.0, MOST_SES * shared) for event, (_, shared) in doubts.items()}
            spreads = CLOCKLESS
        if row < 0 and rise is not None and pace_unknown(task.clip, at) and captured.get(number) is None:
            placed.flag(number, PACE_UNKNOWN)
        timed = not placed.has(number, PACE_UNKNOWN)
        if row >= 0 and not timed:
            at = {event: t_s for event, t_s in at.items() if event in ("address", "impact")}
        values[place] = clip_metrics(rise, at, task.clip.fps, timed=timed)
        if rise is not None and spreads is not None:
            withhold_seen(values[place], rise, at, doubts, task.clip.fps, spreads)
        rises.append(rise)
    return values, rises


def _heel_rows(
    task: SessionTask, swings: pl.DataFrame, rows: list[int], rises: list[HeelRise | None]
) -> list[dict[str, Any]]:
    """Rows of academy.heel_seen, of swings that were filmed and not measured."""
    if task.clip is None or not any(rises):
        return []
    events_of = clip_events(swings, task.events)
    return [
        {"session": session, "swing_no": number} | seen
        for session, number, row, rise in zip(swings["session"], swings["swing_no"], rows, rises, strict=True)
        if row < 0 and rise is not None
        for seen in rise.heel_rows(events_of[number], task.clip.fps)
    ]


def _heels_up(
    trace: SessionTrace,
    swings: pl.DataFrame,
    rows: list[int],
    rises: list[HeelRise | None],
    clip: Clip | None,
    placed: Placed,
) -> tuple[MARKS, MARKS]:
    """Marks of the samples at which a clip whose pace and offset are known, this to 20 ms, sees a heel up."""
    if clip is None:
        return NO_MARKS
    lead, trail = np.zeros((2, trace.offsets[-1]), dtype=np.uint8)
    offset_of, error_of = (by_swing(swings, name) for name in ("clip_offset_s", "clip_offset_se_s"))
    for number, row, rise in zip(swings["swing_no"], rows, rises, strict=True):
        offset, error = offset_of.get(number), error_of.get(number) or 0.0
        sure = error <= SURE_ENOUGH_S and not placed.has(number, PACE_UNKNOWN)
        if row >= 0 and rise is not None and offset is not None and sure:
            part = slice(int(trace.offsets[row]), int(trace.offsets[row + 1]))
            lead[part], trail[part] = heels_up(rise, clip.fps, trace.times(row) - offset)
    return lead, trail
