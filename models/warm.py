"""Compile everything once, at set-up, so that no first load waits for it: python -m models.warm."""

import numpy as np
import polars as pl

from models.swing.event_fit import EventFit
from models.swing.reduce import reduce_session
from warehouse.traces import SessionTrace
from warehouse.vocabulary import EVENTS, SAMPLE_COLUMNS


def warm() -> int:
    """Reduce four seconds of standing still, one event missing (what is compiled is then kept on disk).

    Returns the swings reduced.
    """
    rate, n = 100.0, 400
    columns = {name: np.full(n, 50.0, dtype=np.float32) for name in SAMPLE_COLUMNS}
    trace = SessionTrace(
        session="warm",
        swing_no=np.array([1], dtype=np.int32),
        offsets=np.array([0, n], dtype=np.int64),
        rate_hz=np.array([rate]),
        t0_s=np.zeros(1),
        columns=columns,
    )
    swing = {
        "session": "warm", "swing_no": 1, "rate_hz": rate, "n_samples": n, "t0_s": 0.0, "part": "baseline",
        "pace": "full", "club_family": "iron", "device": "mat", "file_flags": [], "file_flag_counts": [],
    }  # fmt: skip
    events = pl.DataFrame(
        {
            "session": "warm",
            "swing_no": pl.Series([1] * len(EVENTS), dtype=pl.Int32),
            "event": list(EVENTS),
            "t_s": np.linspace(1.0, 3.5, len(EVENTS)),
            "source": "marked",
            "expected_error_s": 0.0,
            "clock": "plate",
        }
    )
    swings = pl.DataFrame([swing]).with_columns(
        pl.col("swing_no").cast(pl.Int32),
        pl.col("file_flags").cast(pl.List(pl.String)),
        pl.col("file_flag_counts").cast(pl.List(pl.Int32)),
    )
    found = reduce_session(
        trace, swings, events[:-1], stance_mm=None, body_mass_kg=None, event_fit=EventFit({})
    )
    return found.metrics.height


if __name__ == "__main__":
    warm()
