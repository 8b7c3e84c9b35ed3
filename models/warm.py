"""Compile everything once, at set-up, so that no first load waits for it: python -m models.warm."""

import numpy as np
import polars as pl

from models.swing.event_fit import EventFit
from models.swing.reduce import reduce_session
from warehouse.tables import columns
from warehouse.traces import SessionTrace
from warehouse.vocabulary import EVENTS, SAMPLE_COLUMNS


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
