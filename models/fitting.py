"""The academy's own fit of unmarked events, which the reduction of samples uses.

A build fits it on the academy's own marked swings and keeps it as the next version of `events` in
academy.parameter; a refresh uses the last version. Reading every session a second time would slow a
build down, so the fit sees at most `MOST_SESSIONS` sessions, the latest of every student in turn.
"""

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from models.parameters import load_parameter, save_parameters
from models.samples import tasks_of_batch, temporary
from models.swing.clock import event_arrays, on_uniform_grid
from models.swing.event_estimates import landmarks_of
from models.swing.event_fit import EventFit, fit_events
from models.swing.reduce import SessionTask
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.store import Writer

FLOATS = NDArray[np.float64]
NAME = "events"
MOST_SESSIONS = 80  # about 900 swings

CHOSEN = """
    WITH marked AS (
        SELECT DISTINCT session FROM academy.swing_event WHERE source = 'marked' AND clock = 'plate'
    ), ranked AS (
        SELECT session, student, row_number() OVER (PARTITION BY student ORDER BY day DESC, session) AS turn
        FROM academy.session JOIN marked USING (session) WHERE has_plate
    )
    SELECT session, student FROM ranked ORDER BY turn, student LIMIT ?
"""


def event_fit(writer: Writer) -> EventFit:
    """The last build's fit; without models (so that the rules are used) while there were too few marks."""
    return EventFit.from_json(load_parameter(writer, NAME))


def refit_events(home: Home, writer: Writer) -> EventFit:
    """Fit on the academy's marked swings and keep it, unless there are too few marks and always were.

    Sessions whose samples can't be read are passed over here; the reduction says so.
    """
    chosen = writer.sql(CHOSEN, [MOST_SESSIONS])
    temporary(writer, "batch", "session", chosen["session"].to_list())
    tasks = tasks_of_batch(home, writer)
    student_of = dict(chosen.iter_rows())
    with ThreadPoolExecutor(os.cpu_count()) as threads:
        found = dict(zip(tasks, threads.map(marked_swings, tasks.values()), strict=True))
    read = {session: pair for session, pair in found.items() if pair is not None}
    if not read:
        return EventFit({})
    marks, times = (np.concatenate(parts) for parts in zip(*read.values(), strict=True))
    students = np.repeat([student_of[session] for session in read], [len(m) for m, _ in read.values()])
    fit = fit_events(marks, times, students)
    if fit.models or load_parameter(writer, NAME) is not None:
        save_parameters(writer, {NAME: fit.to_json()})
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
    times, errors = event_arrays(trace, task.swings, task.events)
    times[errors > 0.0] = np.nan
    swings = np.isin(trace.swing_no, task.swings["swing_no"].to_numpy()) & np.isfinite(times).any(axis=1)
    return landmarks_of(trace, swings)[swings], times[swings]
