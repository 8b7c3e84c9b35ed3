"""Tempo against published swings.

Source: tour players about 24 frames back and 8 down at 30 Hz, so 3 : 1; range 21 : 7 to 30 : 10 (Grober &
Cholewicki 2006, as quoted on public pages).
"""

import numpy as np
import polars as pl
import pytest

from models.swing.faults import load_rules
from models.swing.reduce import reduce_session
from warehouse.traces import SessionTrace

FRAMES = [(24, 8), (21, 7), (30, 10)]


def tempo(back_frames, down_frames):
    """Tempo ratio of a swing marked at 30 Hz frames."""
    n = 600
    still = {name: np.full(n, 350.0, np.float32) for name in ("lead_n", "trail_n")}
    trace = SessionTrace(
        "s", np.array([1], np.int32), np.array([0, n]), np.array([200.0]), np.zeros(1), still
    )
    times = {"takeaway": 1.0, "top": 1.0 + back_frames / 30, "impact": 1.0 + (back_frames + down_frames) / 30}
    events = pl.DataFrame(
        [("s", 1, name, time, "marked", 0.0, "plate") for name, time in times.items()],
        schema=["session", "swing_no", "event", "t_s", "source", "expected_error_s", "clock"],
        orient="row",
    )
    swings = pl.DataFrame(
        {"session": ["s"], "swing_no": pl.Series([1], dtype=pl.Int32), "club_family": ["iron"],
         "pace": ["full"], "file_flags": [[]], "file_flag_counts": [[]]}
    )  # fmt: skip
    return reduce_session(trace, swings, events, stance_mm=None, body_mass_kg=None).metrics["tempo_ratio"][0]


@pytest.mark.parametrize("frames", FRAMES)
def test_published_tempos_are_three_to_one_and_inside_the_band(frames):
    ratio = tempo(*frames)
    assert ratio == pytest.approx(3.0)
    bands = [b for b in load_rules(None).bands if b.metric == "tempo_ratio" and b.club_family == "iron"]
    assert len(bands) == 1
    assert bands[0].lo < ratio < bands[0].hi
