"""Compile everything once, at set-up, so that no first load waits for it: python -m models.warm."""

from datetime import datetime, timedelta

import numpy as np
import polars as pl

from models.season.cells import baseline
from models.season.judgement import Bands
from models.season.trend import fit_season, student_lines
from models.swing.event_fit import EventFit
from models.swing.reduce import reduce_session
from warehouse.tables import columns
from warehouse.traces import SessionTrace
from warehouse.vocabulary import EVENTS, SAMPLE_COLUMNS


def warm_season() -> int:
    """Fit the season of a few students of one metric.

    Returns the points of their lines.
    """
    first = datetime(2026, 1, 1)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
    began = [first + timedelta(days=30 * k) for k in range(5)]
    key = {"coach": "c", "season": "2026", "club_family": "iron", "part": "baseline", "pace": "full",
           "device": "mat", "heel_source": "none", "metric": "m", "sd": 2.0, "n": 9}  # fmt: skip
    means = np.random.default_rng(1).normal(50, 3, (5, len(began)))
    rows = [
        key | {"session": f"{student}-{k}", "student": str(student), "started_at": at, "day": at.date(),
               "mean": means[student, k]}
        for student in range(len(means)) for k, at in enumerate(began)
    ]  # fmt: skip
    known = baseline(pl.DataFrame(rows, columns("season.session_metric")))
    return student_lines(known, fit_season(known), {"m": "up"}, Bands(pl.DataFrame(), {}, {})).line.height


def warm() -> int:
    """Reduce four seconds of standing still, one event missing (what is compiled is then kept on disk).

    Returns the swings reduced.
    """
    rate, n, key = 100.0, 400, {"session": "warm", "swing_no": 1}
    samples = {name: np.full(n, 50.0, dtype=np.float32) for name in SAMPLE_COLUMNS}
    trace = SessionTrace(
        "warm", np.array([1], dtype=np.int32), np.array([0, n], dtype=np.int64), np.array([rate]),
        np.zeros(1), samples,
    )  # fmt: skip
    events = pl.DataFrame(
        [("warm", 1, event, at, "marked", 0.0, "plate")
         for event, at in zip(EVENTS, np.linspace(1.0, 3.5, len(EVENTS)), strict=True)],
        columns("academy.swing_event"), orient="row",
    )  # fmt: skip
    swing = {"pace": "full", "club_family": "iron", "file_flags": [], "file_flag_counts": []}
    swings = pl.DataFrame([key | swing], schema_overrides={"swing_no": pl.Int32})
    found = reduce_session(
        trace, swings, events[:-1], stance_mm=None, body_mass_kg=None, event_fit=EventFit({})
    )
    return found.metrics.height


if __name__ == "__main__":
    warm()
    warm_season()
