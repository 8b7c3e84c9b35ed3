"""From sample traces to swing metrics: one independent task a session, side by side, batch by batch.

The warehouse is read and written here, by one thread; the tasks only read trace files and compute.

Events nobody marked are estimated by the academy's own fit. A build makes it from the academy's marked
swings and keeps it as the next version of `events` in academy.parameter; a refresh uses the last version.
Reading every session a second time would slow a build down, so the fit sees at most `MOST_SESSIONS` of them,
the latest of every student in turn.
"""

import os
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from contextvars import ContextVar
from functools import partial
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.parameters import load_parameter, save_parameters
from models.swing.answers import Answer, gather
from models.swing.clip import Clip
from models.swing.clock import event_arrays, on_uniform_grid
from models.swing.event_estimates import landmarks_of, moments
from models.swing.event_fit import EventFit, fit_events
from models.swing.holds import MEASURES
from models.swing.reduce import SessionTask, answer_task
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.preview import Moments
from warehouse.store import Snapshot, Writer, open_snapshot
from warehouse.traces import trace_path

FLOATS = NDArray[np.float64]
SWING_ANSWERS = (
    "usable", "flags", "flag_counts", "heel_source", "clip_offset_s", "clip_offset_se_s",
    "clip_offset_source", "clip_candidates_s", "clip_scale_source", "clip_scale_se_pct",
)  # fmt: skip
DERIVED = "(source = 'estimated' OR (source = 'clip' AND clock = 'plate'))"  # events, by the reduction
FROM_POINTS = "source = 'points'"  # heels seen, by the reduction
MOST_SESSIONS = 80  # about 900 swings
BATCH = 200  # sessions: about 4,000 swings, so memory stays flat however many there are
CHOSEN = """
    WITH marked AS (
        SELECT DISTINCT session FROM academy.swing_event
        WHERE source IN ('marked', 'by_hand') AND clock = 'plate'
    ), ranked AS (
        SELECT session, student, row_number() OVER (PARTITION BY student ORDER BY day DESC, session) AS turn
        FROM academy.session JOIN marked USING (session) WHERE has_plate
    )
    SELECT session, student FROM ranked ORDER BY turn, student LIMIT ?
"""


Each = Callable[[Callable[[SessionTask], Any], Iterable[SessionTask]], list[Any]]


def by_threads(function: Callable[[SessionTask], Any], tasks: Iterable[SessionTask]) -> list[Any]:
    """What the function makes of each task; one thread a core, as the kernel holds no lock."""
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(function, tasks))


readers: ContextVar[Each] = ContextVar("readers", default=by_threads)
"""Who goes over the sessions' files: this machine's threads, or a cluster's workers (cluster.py)."""


def reduced(task: SessionTask) -> Answer | UnderfootError:
    """Reduce one session; the error when its samples can't be read."""
    try:
        return answer_task(task)
    except UnderfootError as error:
        return error


def reduce_into(
    home: Home, writer: Writer, sessions: list[str], progress: Callable[[int, int, str], None] | None = None,
    *, event_fit: EventFit | None = None, spreads: Mapping[str, float] | None = None,
) -> tuple[int, list[str]]:  # fmt: skip
    """Write the metrics, flags and estimated events of these sessions' swings, and what their holds measure.

    By `readers`; `event_fit` and `spreads` are those of a SessionTask.
    Returns the number of swings reduced, and one sentence for each session that could not be (it keeps
    `reduced` false, its swings are not usable).
    """
    swings, problems = 0, []
    for first in range(0, len(sessions), BATCH):
        batch = sessions[first : first + BATCH]
        temporary(writer, "batch", "session", batch)
        tasks = tasks_of_batch(home, writer, event_fit=event_fit, spreads=spreads)
        found = dict(zip(tasks, readers.get()(reduced, tasks.values()), strict=True))
        failed = {s: error for s, error in found.items() if isinstance(error, UnderfootError)}
        answers = [answer for answer in found.values() if isinstance(answer, Answer)]
        _store(writer, answers, list(failed))
        problems += [f"Session {s} was not reduced and waits: {error}" for s, error in failed.items()]
        swings += sum(len(answer.keys) for answer in answers)
        if progress is not None:
            progress(first + len(batch), len(sessions), "sessions reduced")
    return swings, problems


def temporary(writer: Writer, table: str, column: str, values: list[str]) -> None:
    """A one-column temporary table that the next queries read."""
    writer.execute(f"CREATE OR REPLACE TEMP TABLE {table} ({column} VARCHAR)")
    writer.execute(f"INSERT INTO {table} SELECT unnest(CAST(? AS VARCHAR[]))", [values])


def tasks_of_batch(home: Home, writer: Writer, **more: Any) -> dict[str, SessionTask]:
    """One task a session of the temporary table batch(session) that has plate samples or a clip.

    `more` is what else every SessionTask takes.
    """
    within = "WHERE session IN (SELECT session FROM batch)"

    def parts(query: str, *order: str) -> tuple[dict[tuple[Any, ...], pl.DataFrame], pl.DataFrame]:
        """Session → its rows; and no rows."""
        rows = writer.sql(
            f"SELECT * FROM academy.{query} ORDER BY {', '.join(('session', 'swing_no', *order))}"
        )
        return rows.partition_by("session", as_dict=True), rows.clear()

    swings_of, no_swings = parts(f"swing {within}")
    events_of, no_events = parts(f"swing_event {within} AND NOT {DERIVED}", "t_s")
    points_of, _ = parts(f"clip_point {within}", "frame", "point")
    holds_of, _ = parts(f"hold {within}")
    sessions = writer.sql(
        "SELECT session.*, foot_length_mm FROM academy.session LEFT JOIN academy.person ON person = student "
        f"{within} AND (has_plate OR has_clip) ORDER BY session"
    )
    tasks = {}
    for row in sessions.iter_rows(named=True):
        session, key = row["session"], (row["session"],)
        swings = swings_of.get(key, no_swings)
        tasks[session] = SessionTask(
            trace_path(home, row["season"], session) if row["has_plate"] else None,
            swings, events_of.get(key, no_events), row["stance_mm"], row["body_mass_kg"], row["feet_checked"],
            _clip(row, swings, points_of.get(key)), holds=holds_of.get(key), **more,
        )  # fmt: skip
    return tasks


def _clip(session: Mapping[str, Any], swings: pl.DataFrame, points: pl.DataFrame | None) -> Clip | None:
    """The session's clip; None without points, or without what turns frames into seconds."""
    names = ("clip_fps", "shoe_length_mm", "clip_view", "clip_mm_per_px", "shoe_width_mm", "foot_length_mm")
    fps, shoe_mm, view, mm_per_px, width_mm, foot_mm = (session[name] for name in names)
    if points is None or fps is None or view is None:
        return None
    widths_px = swings.select("swing_no", "clip_shoe_width_px").drop_nulls()
    return Clip(
        points, fps, shoe_mm, view, mm_per_px, width_mm, dict(widths_px.iter_rows()), foot_mm,
        session["clip_sync"] == "stamp", bool(session["clip_runs_through"]),
    )  # fmt: skip


def _store(writer: Writer, answers: list[Answer], failed: list[str]) -> None:
    """Replace the batch's rows; swings that were not reduced have no metrics and are not usable."""
    within = "WHERE session IN (SELECT session FROM batch)"
    writer.execute(f"DELETE FROM academy.swing_metric {within}")
    writer.execute(f"DELETE FROM academy.swing_event {within} AND {DERIVED}")
    writer.execute(f"DELETE FROM academy.heel_seen {within} AND {FROM_POINTS}")
    writer.execute(
        "UPDATE academy.swing SET usable = false, flags = file_flags, flag_counts = file_flag_counts "
        + within
    )
    writer.execute(
        f"UPDATE academy.session SET reduced = NOT list_contains(CAST(? AS VARCHAR[]), session) {within}",
        [failed],
    )
    if not answers:
        return
    reduction = gather(answers)
    writer.append("academy.swing_metric", reduction.metrics)
    writer.append("academy.swing_event", reduction.estimated)
    writer.append("academy.heel_seen", reduction.heels)
    _update(writer, "swing", reduction.swings, SWING_ANSWERS)
    if reduction.holds.height:
        _update(writer, "hold", reduction.holds, MEASURES)


def _update(writer: Writer, table: str, rows: pl.DataFrame, columns: tuple[str, ...]) -> None:
    """Set `columns` of the table's rows to those of the same session and swing_no in `rows`."""
    values = ", ".join(f"{column} = r.{column}" for column in columns)
    with writer.given(rows):
        writer.execute(
            f"UPDATE academy.{table} SET {values} FROM _given r "
            f"WHERE {table}.session = r.session AND {table}.swing_no = r.swing_no"
        )


def event_fit(writer: Writer | Snapshot) -> EventFit:
    """The last build's fit; without models (so that the rules are used) while there were too few marks."""
    return EventFit.from_json(load_parameter(writer, "events"))


def published_moments(home: Home) -> Moments:
    """`moments` by the fit of the last published build; it pickles."""
    with closing(open_snapshot(home)) as published:
        return partial(moments, fit=event_fit(published))


def refit_events(home: Home, writer: Writer) -> EventFit:
    """Fit on the academy's marked swings and keep it, unless there are too few marks and always were.

    Sessions whose samples can't be read are passed over here; the reduction says so.
    """
    chosen = writer.sql(CHOSEN, [MOST_SESSIONS])
    temporary(writer, "batch", "session", chosen["session"].to_list())
    tasks = tasks_of_batch(home, writer)
    student_of = dict(chosen.iter_rows())
    found = dict(zip(tasks, readers.get()(marked_swings, tasks.values()), strict=True))
    read = {session: pair for session, pair in found.items() if pair is not None}
    if not read:
        return EventFit({})
    marks, times = (np.concatenate(parts) for parts in zip(*read.values(), strict=True))
    students = np.repeat([student_of[session] for session in read], [len(m) for m, _ in read.values()])
    fit = fit_events(marks, times, students)
    if fit.models or load_parameter(writer, "events") is not None:
        save_parameters(writer, {"events": fit.to_json()})
    return fit


def marked_swings(task: SessionTask) -> tuple[FLOATS, FLOATS] | None:
    """Landmarks (n, 48) and marked times (n, 7) of a session's swings; None if its samples can't be read."""
    try:
        read = task.trace()
    except UnderfootError:
        return None
    if read is None:
        return None
    trace = on_uniform_grid(read)
    by_hand = pl.when(source="by_hand").then(0.0).otherwise(pl.col("expected_error_s"))
    times, errors = event_arrays(trace, task.swings, task.events.with_columns(expected_error_s=by_hand))
    times[errors > 0.0] = np.nan  # what a film shows, give or take its offset
    swings = np.isin(trace.swing_no, task.swings["swing_no"].to_numpy()) & np.isfinite(times).any(axis=1)
    return landmarks_of(trace, swings)[swings], times[swings]
