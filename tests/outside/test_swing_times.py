"""Backswing and downswing times against published swings.

Source: tour players about 24 frames back and 8 down at 30 Hz; range 21 and 7 to 30 and 10 (Grober &
Cholewicki 2006, as quoted on public pages).
"""

import numpy as np
import polars as pl
import pytest

from models.swing.faults import load_rules
from models.swing.reduce import reduce_session
from warehouse.traces import SessionTrace

FRAMES = [(24, 8), (21, 7), (30, 10)]


def times(back_frames, down_frames):
    """Backswing and downswing time (s) of a swing marked at 30 Hz frames."""
    n = 600
    still = {name: np.full(n, 350.0, np.float32) for name in ("lead_n", "trail_n")}
    trace = SessionTrace(
        "s", np.array([1], np.int32), np.array([0, n]), np.array([200.0]), np.zeros(1), still
    )
    marked = {
        "takeaway": 1.0,
        "top": 1.0 + back_frames / 30,
        "impact": 1.0 + (back_frames + down_frames) / 30,
    }
    events = pl.DataFrame(
        [("s", 1, name, time, "marked", 0.0, "plate") for name, time in marked.items()],
        schema=["session", "swing_no", "event", "t_s", "source", "expected_error_s", "clock"],
        orient="row",
    )
    swings = pl.DataFrame(
        {"session": ["s"], "swing_no": pl.Series([1], dtype=pl.Int32), "club_family": ["iron"],
         "pace": ["full"], "file_flags": [[]], "file_flag_counts": [[]]}
    )  # fmt: skip
    metrics = reduce_session(trace, swings, events, stance_mm=None, body_mass_kg=None).metrics
    return metrics["backswing_s"][0], metrics["downswing_s"][0]


@pytest.mark.parametrize("frames", FRAMES)
def test_published_backswings_lie_inside_the_band(frames):
    back_s, down_s = times(*frames)
    assert (back_s, down_s) == pytest.approx((frames[0] / 30, frames[1] / 30))
    bands = [b for b in load_rules(None).bands if b.metric == "backswing_s" and b.club_family == "iron"]
    assert len(bands) == 1
    assert bands[0].lo - 1e-9 <= back_s <= bands[0].hi + 1e-9
