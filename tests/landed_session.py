"""What ingest leaves behind for a session: rows that wait to be reduced, and a trace file."""

from datetime import datetime, timedelta

import numpy as np
import polars as pl

import builders
import made_swings
from warehouse.traces import SessionTrace, trace_path, write_trace

DAY_ONE = datetime(2026, 4, 7, 15)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
HOLD_NO, HOLD_S = 91, 22.0


def land_session(
    w, session, student, *, shifts, seed=1, marked=tuple(made_swings.EVENTS), day=0, hold=False
):  # fmt: skip
    """A swing for each of `shifts`, points by which its lead share is off; events as `marked`; its trace's path."""
    at = DAY_ONE + timedelta(days=day)
    w.append(
        "academy.session",
        builders.session_frame(
            session, student, started_at=at.isoformat(), day=at.date().isoformat(), season="spring",
            reduced=False,
        ),
    )  # fmt: skip
    frames = []
    for no, shift in enumerate(shifts, start=1):
        points = {
            t: (share + shift * (0.4 < t < 1.2), *rest) for t, (share, *rest) in made_swings.SOUND.items()
        }
        frames.append(made_swings.swing_frame(no, points=points, seed=seed * 100 + no))
    sizes, numbers = [len(f) for f in frames], list(range(1, len(frames) + 1))
    key = {"session": [session] * len(frames), "swing_no": numbers}
    none = pl.Series([[]] * len(frames), dtype=pl.List(pl.String))
    counts = pl.Series([[]] * len(frames), dtype=pl.List(pl.Int32))
    w.append(
        "academy.swing",
        pl.DataFrame(key).with_columns(
            club=pl.lit("7-iron"), club_family=pl.lit("iron"), part=pl.lit("baseline"), pace=pl.lit("full"),
            device=pl.lit("mat"), rate_hz=pl.lit(250.0), n_samples=pl.lit(sizes[0]), t0_s=pl.lit(10.0),
            usable=pl.lit(value=False), heel_source=pl.lit("none"), flags=none, flag_counts=counts,
            file_flags=none, file_flag_counts=counts,
        ),
    )  # fmt: skip
    for name in marked:
        w.append(
            "academy.swing_event",
            pl.DataFrame(key).with_columns(
                event=pl.lit(name), t_s=pl.lit(11.6 + made_swings.EVENTS[name]), source=pl.lit("marked"),
                expected_error_s=pl.lit(0.0), clock=pl.lit("plate"),
            ),
        )  # fmt: skip
    joined = pl.concat(frames).drop("swing_no", "t_s")
    columns = {name: joined[name].to_numpy().astype(np.float32) for name in joined.columns}
    if hold:
        n = round(HOLD_S * 250)
        t = np.arange(n) / 250
        still = {"cop_x_mm": 4 * np.sin(2 * np.pi * 0.3 * t), "cop_y_mm": 3 * np.cos(2 * np.pi * 0.2 * t)}
        for name in (*columns, *still):
            before = columns.get(name, np.full(sum(sizes), np.nan, np.float32))
            columns[name] = np.concatenate([before, still.get(name, np.full(n, 50.0))]).astype(np.float32)
        sizes, numbers = [*sizes, n], [*numbers, HOLD_NO]
        w.append(
            "academy.hold",
            pl.DataFrame(
                {"session": [session], "swing_no": [HOLD_NO], "eyes": ["open"], "seconds": [HOLD_S],
                 "from_s": [10.0], "to_s": [10.0 + HOLD_S], "rate_hz": [250.0], "n_samples": [n], "t0_s": [10.0],
                 "rocking": [False]}
            ),
        )  # fmt: skip
    trace = SessionTrace(
        session, np.array(numbers, np.int32), np.concatenate([[0], np.cumsum(sizes)]),
        np.full(len(sizes), 250.0), np.full(len(sizes), 10.0), columns,
    )  # fmt: skip
    path = trace_path(w.home, "spring", session)
    write_trace(path, trace)
    return path
