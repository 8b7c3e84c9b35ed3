"""From sample traces to swing metrics: one independent task a session, handed to an executor, batch by batch.

The warehouse is read and written here, by one thread; the tasks only read trace files and compute.
"""

import os
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from models.swing.clip import Clip
from models.swing.event_fit import EventFit
from models.swing.gathering import Answer, gather
from models.swing.holds import MEASURES
from models.swing.reduce import SessionTask, answer_task
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.store import Writer
from warehouse.traces import trace_path

SWING_ANSWERS = (
    "usable", "flags", "flag_counts", "heel_source", "clip_offset_s", "clip_offset_se_s",
    "clip_scale_source", "clip_scale_se_pct",
)  # fmt: skip
DERIVED = "(source = 'estimated' OR (source = 'clip' AND clock = 'plate'))"  # events, by the reduction
BATCH = 200  # sessions: about 4,000 swings, so memory stays flat however many there are


@dataclass(frozen=True)
class Unread:
    """A session whose samples could not be read, and why."""

    session: str
    sentence: str


def run(session: str, task: SessionTask) -> Answer | Unread:
    """Reduce one session, or say why its samples can't be read."""
    try:
        return answer_task(task)
    except UnderfootError as error:
        return Unread(session, f"Session {session} was not reduced and waits: {error}")


def reduce_into(
    home: Home,
    writer: Writer,
    sessions: list[str],
    progress: Callable[[int, int, str], None] | None = None,
    executor: Executor | None = None,
    *,
    event_fit: EventFit | None = None,
    spreads: Mapping[str, float] | None = None,
) -> tuple[int, list[str]]:
    """Write the metrics, flags and estimated events of these sessions' swings, and what their holds measure.

    `event_fit` and `spreads` are those of a SessionTask.
    Returns the number of swings reduced, and one sentence for each session that could not be (it keeps
    `reduced` false, its swings are not usable). Default executor: one thread a core, as the kernel holds no
    lock.
    """
    if not sessions:
        return 0, []
    if executor is None:
        with ThreadPoolExecutor(os.cpu_count()) as threads:
            return reduce_into(
                home, writer, sessions, progress, threads, event_fit=event_fit, spreads=spreads
            )
    swings, problems, done = 0, [], 0
    for first in range(0, len(sessions), BATCH):
        batch = sessions[first : first + BATCH]
        temporary(writer, "batch", "session", batch)
        tasks = {
            session: replace(task, event_fit=event_fit, spreads=spreads)
            for session, task in tasks_of_batch(home, writer).items()
        }
        results = list(executor.map(run, tasks.keys(), tasks.values()))
        failed = [result for result in results if isinstance(result, Unread)]
        answers = [result for result in results if isinstance(result, Answer)]
        _store(writer, answers, [unread.session for unread in failed])
        problems += [unread.sentence for unread in failed]
        swings += sum(len(answer.keys) for answer in answers)
        done += len(batch)
        if progress is not None:
            progress(done, len(sessions), "sessions reduced")
    return swings, problems


def temporary(writer: Writer, table: str, column: str, values: list[str]) -> None:
    """A one-column temporary table that the next queries read."""
    writer.execute(f"CREATE OR REPLACE TEMP TABLE {table} ({column} VARCHAR)")
    writer.execute(f"INSERT INTO {table} SELECT unnest(CAST(? AS VARCHAR[]))", [values])


def tasks_of_batch(home: Home, writer: Writer) -> dict[str, SessionTask]:
    """One task a session of the temporary table batch(session) that has plate samples or a clip."""
    within = "WHERE session IN (SELECT session FROM batch)"
    swings = writer.sql(f"SELECT * FROM academy.swing {within} ORDER BY session, swing_no")
    given = f"{within} AND NOT {DERIVED}"
    events = writer.sql(f"SELECT * FROM academy.swing_event {given} ORDER BY session, swing_no, t_s")
    points = writer.sql(f"SELECT * FROM academy.clip_point {within} ORDER BY session, swing_no, frame, point")
    holds = writer.sql(f"SELECT * FROM academy.hold {within} ORDER BY session, swing_no")
    sessions = writer.sql(
        f"SELECT * FROM academy.session {within} AND (has_plate OR has_clip) ORDER BY session"
    )
    swings_of = swings.partition_by("session", as_dict=True)
    events_of = events.partition_by("session", as_dict=True)
    holds_of = holds.partition_by("session", as_dict=True)
    points_of = points.partition_by("session", as_dict=True)
    return {
        row["session"]: SessionTask(
            trace_path(home, row["season"], row["session"]) if row["has_plate"] else None,
            swings_of.get((row["session"],), swings.clear()),
            events_of.get((row["session"],), events.clear()),
            row["stance_mm"],
            row["body_mass_kg"],
            row["feet_checked"],
            _clip(row, swings_of.get((row["session"],), swings.clear()), points_of.get((row["session"],))),
            holds=holds_of.get((row["session"],)),
        )
        for row in sessions.iter_rows(named=True)
    }


def _clip(session: Mapping[str, Any], swings: pl.DataFrame, points: pl.DataFrame | None) -> Clip | None:
    """The session's clip; None without points, or without what turns pixels and frames into mm and s."""
    names = ("clip_fps", "shoe_length_mm", "clip_view", "clip_mm_per_px", "shoe_width_mm")
    fps, shoe_mm, view, mm_per_px, width_mm = (session[name] for name in names)
    if points is None or fps is None or shoe_mm is None or view is None:
        return None
    widths_px = dict(
        swings.drop_nulls("clip_shoe_width_px").select("swing_no", "clip_shoe_width_px").iter_rows()
    )
    return Clip(points, fps, shoe_mm, view, mm_per_px, width_mm, widths_px)


def _store(writer: Writer, answers: list[Answer], failed: list[str]) -> None:
    """Replace the batch's rows; swings that were not reduced have no metrics and are not usable."""
    within = "WHERE session IN (SELECT session FROM batch)"
    writer.execute(f"DELETE FROM academy.swing_metric {within}")
    writer.execute(f"DELETE FROM academy.swing_event {within} AND {DERIVED}")
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
    if reduction.estimated.height:
        writer.append("academy.swing_event", reduction.estimated)
    _update(writer, "swing", reduction.swings, SWING_ANSWERS)
    if reduction.holds.height:
        _update(writer, "hold", reduction.holds, MEASURES)


def _update(writer: Writer, table: str, rows: pl.DataFrame, columns: tuple[str, ...]) -> None:
    """Set `columns` of the table's rows to those of the same session and swing_no in `rows`."""
    values = ", ".join(f"{column} = r.{column}" for column in columns)
    writer.connection.register("_reduced", rows.to_arrow())
    try:
        writer.execute(
            f"UPDATE academy.{table} SET {values} FROM _reduced r "
            f"WHERE {table}.session = r.session AND {table}.swing_no = r.swing_no"
        )
    finally:
        writer.connection.unregister("_reduced")
