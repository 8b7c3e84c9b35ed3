"""Steadiness holds: worked values of the measures, how the centre of pressure is formed, which holds compare."""

import math

import numpy as np
import polars as pl
import pytest

from models.swing.holds import MEASURES, SWAY, hold_rows, measures
from warehouse.traces import SessionTrace

RATE = 100.0
STANCE = (200.0, 0.0, 200.0, 250.0, -200.0, 0.0, -200.0, 250.0)  # feet straight ahead, 400 mm apart


def circle(radius_mm=10.0, turns=4, seconds=20.0):
    """(2, n) mm: slow turns about (30, 100), every turn 5 s."""
    t = np.arange(int(seconds * RATE) + 1) / RATE
    angle = 2 * np.pi * turns * t / seconds
    return np.stack([30 + radius_mm * np.cos(angle), 100 + radius_mm * np.sin(angle)])


def trace_of(columns, number=91, t0_s=5.0):
    n = len(next(iter(columns.values())))
    return SessionTrace(
        "s", np.array([number], np.int32), np.array([0, n]), np.array([RATE]), np.array([t0_s]),
        {name: np.asarray(values, np.float32) for name, values in columns.items()},
    )  # fmt: skip


def hold_frame(from_s=5.0, to_s=25.0):
    span = {"from_s": [from_s], "to_s": [to_s]}
    return pl.DataFrame({"swing_no": [91], "eyes": ["open"], "rocking": [False]} | span)


def feet(cop):
    """Both feet at the same place along and across, so that the mean lies 0 mm from the middle line."""
    n = cop.shape[1]
    lead_share = 0.5 + (cop[0]) / 400.0
    return {
        "lead_n": 700 * lead_share, "trail_n": 700 * (1 - lead_share),
        "lead_along_pct": cop[1] / 2.5, "trail_along_pct": cop[1] / 2.5,
        "lead_across_mm": np.zeros(n), "trail_across_mm": np.zeros(n),
    }  # fmt: skip


def test_a_circle_gives_its_own_path_speed_rms_and_ellipse():
    found = measures(circle(), RATE, 0.0, 20.0)
    # 18 s remain of 20 after the ends are cut: 3.6 turns of 2π·10 mm
    assert found["path_mm"] == pytest.approx(3.6 * 2 * math.pi * 10, rel=2e-3)
    assert found["speed_mm_s"] == pytest.approx(2 * math.pi * 10 / 5, rel=2e-3)
    whole = measures(circle(turns=4, seconds=22.0)[:, :2201], RATE, 0.0, 22.0)
    assert whole["path_mm"] == pytest.approx(4 * 20 / 22 * 2 * math.pi * 10, rel=2e-3)


def test_rms_and_ellipse_of_whole_turns_are_those_of_a_circle():
    # 4 whole turns remain once 1 s is cut at each end; each coordinate has SD r/√2, the ellipse π·5.991·r²/2
    cop = circle(turns=4.4, seconds=22.0)
    found = measures(cop, RATE, 0.0, 22.0)
    assert found["rms_along_mm"] == pytest.approx(10 / math.sqrt(2), rel=2e-3)
    assert found["rms_across_mm"] == pytest.approx(10 / math.sqrt(2), rel=2e-3)
    assert found["ellipse_mm2"] == pytest.approx(math.pi * 5.9915 * 50, rel=3e-3)


def test_what_is_outside_the_hold_and_a_second_at_each_end_counts_for_nothing():
    cop = circle(seconds=40.0)
    stepped = cop.copy()
    stepped[:, :900] += 80  # before 9 s; the hold is from 8 s
    assert measures(stepped, RATE, 8.2, 30.0)["path_mm"] == pytest.approx(
        measures(cop, RATE, 8.2, 30.0)["path_mm"], rel=0.01
    )


def test_the_course_from_the_feet_equals_the_delivered_one():
    cop = circle()
    given = hold_rows(
        trace_of({"lead_n": cop[0], "cop_x_mm": cop[0], "cop_y_mm": cop[1]}), hold_frame(), None
    )
    formed = hold_rows(trace_of(feet(cop)), hold_frame(), STANCE)
    assert given.columns == ["session", "swing_no", *MEASURES]
    for name in SWAY:
        assert formed[name][0] == pytest.approx(given[name][0], rel=1e-3), name


@pytest.mark.parametrize("lost", ["stance", "lead_across_mm", "trail_along_pct"])
def test_without_what_a_centre_of_pressure_takes_the_measures_are_null(lost):
    columns = feet(circle())
    columns.pop(lost, None)
    found = hold_rows(trace_of(columns), hold_frame(), None if lost == "stance" else STANCE)
    assert found.select(SWAY).row(0) == (None,) * 5


def test_a_short_gap_is_bridged_and_a_long_one_gives_null():
    cop = circle()
    short, long = cop.copy(), cop.copy()
    short[:, 900:950] = np.nan
    long[:, 900:1100] = np.nan
    assert measures(short, RATE, 0.0, 20.0)["path_mm"] == pytest.approx(
        measures(cop, RATE, 0.0, 20.0)["path_mm"], rel=0.01
    )
    assert set(measures(long, RATE, 0.0, 20.0).values()) == {None}


def test_a_hold_too_short_to_cut_is_null():
    assert set(measures(circle(seconds=6.5), RATE, 0.0, 6.5).values()) == {None}
