"""The ball line, and the course of the load, against what others measured."""

import numpy as np
import polars as pl
import pytest

import made_swings
from models.swing.conditioning import BALL_AT, heel_share_from_along
from models.swing.reduce import reduce_session
from warehouse.traces import SessionTrace

# ANSUR II (public survey of body measures): ball-of-foot length in % of foot length, mean and SD.
BALL_PCT = {"men": (74.1, 1.5), "women": (73.9, 1.3)}
# Front edge of the rest from which a foot still rests on its ball and not the midfoot: common practice, no source.
MIDFOOT_ENDS_PCT = 63.0


@pytest.mark.parametrize("who", BALL_PCT)
def test_the_ball_rest_lies_behind_the_ball_line_that_was_measured(who):
    mean, sd = BALL_PCT[who]
    assert MIDFOOT_ENDS_PCT <= BALL_AT <= mean
    assert mean - BALL_AT <= 4 * sd  # the pads' centre is behind their line, and not far behind it


def test_at_the_measured_ball_line_the_whole_load_counts_as_off_the_heel():
    """Two-point statics: a foot whose pressure is at the ball line has no load on its heel."""
    for mean, _ in BALL_PCT.values():
        assert heel_share_from_along(mean) == 0.0
    assert 0.0 < heel_share_from_along(50.0) < 1.0


def reduced():
    """Metrics of the trade's swing (common practice, no source: about 70/30 and its mirror)."""
    frame = made_swings.swing_frame(1, start_s=0.0)
    names = ("lead_n", "trail_n", "lead_along_pct", "trail_along_pct")
    columns = {name: frame[name].to_numpy().astype(np.float32) for name in names}
    trace = SessionTrace(
        "s", np.array([1], np.int32), np.array([0, len(frame)]), np.array([250.0]), np.zeros(1), columns
    )
    events = pl.DataFrame(
        [("s", 1, name, 1.6 + at, "marked", 0.0, "plate") for name, at in made_swings.EVENTS.items()],
        schema=["session", "swing_no", "event", "t_s", "source", "expected_error_s", "clock"],
        orient="row",
    )
    swings = pl.DataFrame(
        {"session": ["s"], "swing_no": pl.Series([1], dtype=pl.Int32), "club_family": ["iron"],
         "pace": ["full"], "file_flags": [[]], "file_flag_counts": [[]]}
    )  # fmt: skip
    return reduce_session(trace, swings, events, stance_mm=None, body_mass_kg=None).metrics.row(0, named=True)


def test_the_load_goes_the_way_that_was_measured():
    """Ball & Best 2007 (J Sports Sci 25), direction only: even at address, to the trail side going back, forward
    by early downswing."""
    metrics = reduced()
    assert metrics["address_lead_share_pct"] == pytest.approx(50.0, abs=5.0)
    assert metrics["mid_back_trail_share_pct"] > 100.0 - metrics["address_lead_share_pct"]
    assert metrics["trail_peak_before_top_s"] > 0.0  # it turns before the top
    assert metrics["top_lead_share_pct"] > 100.0 - metrics["trail_peak_share_pct"]
    assert metrics["mid_down_lead_share_pct"] > metrics["address_lead_share_pct"]
