"""From sample traces to swing metrics: one independent task a session, handed to an executor, batch by batch.

The warehouse is read and written here, by one thread; the tasks only read trace files and compute.
"""

import os
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass

import polars as pl

from models.swing.reduce import Reduction, SessionTask, reduce_task
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.store import Writer
from warehouse.traces import trace_path

BATCH = 200  # sessions: about 4,000 swings, so memory stays flat however many there are


@dataclass(frozen=True)
class Unread:
    """A session whose samples could not be read, and why."""

    session: str
    sentence: str


def run(session: str, task: SessionTask) -> Reduction | Unread:
    """Reduce one session, or say why its samples can't be read."""
    try:
        return reduce_task(task)
    except UnderfootError as error:
        return Unread(session, f"Session {session} was not reduced and waits: {error}")


def reduce_into(
    home: Home,
    writer: Writer,
    sessions: list[str],
    progress: Callable[[int, int, str], None] | None = None,
    executor: Executor | None = None,
) -> tuple[int, list[str]]:
    """Write the metrics, usability and flags of these sessions' swings; say which could not be read.

    Returns the number of swings reduced and one sentence a session that waits on (it keeps `reduced` false,
    its swings are not usable). Default executor: one thread a core; the reduction lets the interpreter go.
    """
    if not sessions:
        return 0, []
    if executor is None:
        with ThreadPoolExecutor(os.cpu_count()) as threads:
            return reduce_into(home, writer, sessions, progress, threads)
    swings, problems, done = 0, [], 0
    for first in range(0, len(sessions), BATCH):
        batch = sessions[first : first + BATCH]
        temporary(writer, "batch", "session", batch)
        tasks = _tasks(home, writer)
        results = list(executor.map(run, tasks.keys(), tasks.values()))
        failed = [result for result in results if isinstance(result, Unread)]
        reduced = [result for result in results if isinstance(result, Reduction)]
        _store(writer, reduced, [unread.session for unread in failed])
        problems += [unread.sentence for unread in failed]
        swings += sum(len(result.swings) for result in reduced)
        done += len(batch)
        if progress is not None:
            progress(done, len(sessions), "sessions reduced")
    return swings, problems


def temporary(writer: Writer, table: str, column: str, values: list[str]) -> None:
    """A one-column temporary table that the next queries read."""
    writer.execute(f"CREATE OR REPLACE TEMP TABLE {table} ({column} VARCHAR)")
    writer.execute(f"INSERT INTO {table} SELECT unnest(CAST(? AS VARCHAR[]))", [values])


def _tasks(home: Home, writer: Writer) -> dict[str, SessionTask]:
    """One task a session of the batch that has plate samples."""
    within = "WHERE session IN (SELECT session FROM batch)"
    swings = writer.sql(f"SELECT * FROM academy.swing {within} ORDER BY session, swing_no")
    events = writer.sql(f"SELECT * FROM academy.swing_event {within} ORDER BY session, swing_no, t_s")
    sessions = writer.sql(
        "SELECT session, season, stance_mm, body_mass_kg, feet_checked FROM academy.session "
        f"{within} AND has_plate ORDER BY session"
    )
    swings_of = swings.partition_by("session", as_dict=True)
    events_of = events.partition_by("session", as_dict=True)
    return {
        session: SessionTask(
            trace_path(home, season, session),
            swings_of.get((session,), swings.clear()),
            events_of.get((session,), events.clear()),
            stance,
            mass,
            checked,
        )
        for session, season, stance, mass, checked in sessions.iter_rows()
    }


def _store(writer: Writer, reduced: list[Reduction], failed: list[str]) -> None:
    """Replace the batch's rows; swings that were not reduced have no metrics and are not usable."""
    within = "WHERE session IN (SELECT session FROM batch)"
    writer.execute(f"DELETE FROM academy.swing_metric {within}")
    writer.execute(
        "UPDATE academy.swing SET usable = false, flags = file_flags, flag_counts = file_flag_counts "
        + within
    )
    writer.execute(
        f"UPDATE academy.session SET reduced = NOT list_contains(CAST(? AS VARCHAR[]), session) {within}",
        [failed],
    )
    if not reduced:
        return
    writer.append("academy.swing_metric", pl.concat([result.metrics for result in reduced]))
    writer.connection.register("_reduced", pl.concat([result.swings for result in reduced]).to_arrow())
    try:
        writer.execute(
            "UPDATE academy.swing SET usable = r.usable, flags = r.flags, flag_counts = r.flag_counts, "
            "heel_source = r.heel_source FROM _reduced r "
            "WHERE swing.session = r.session AND swing.swing_no = r.swing_no"
        )
    finally:
        writer.connection.unregister("_reduced")
