"""When the weight moves on the plate, worked by hand on straight lines."""

import math
from dataclasses import replace

import numpy as np
import pytest

from models.swing.weight_moves import NO_MOVES, weight_moves
from warehouse.traces import SessionTrace

RATE = 200.0
T = np.arange(0.0, 4.0, 1 / RATE)
IMPACT_S = 2.5


def trace(lead_share, trail_along=None, *, t0_s=10.0, **columns):
    """One swing of a player of 800 N whose lead foot carries that share."""
    lead = 800.0 * np.interp(T, *lead_share)
    given = {"lead_n": lead, "trail_n": 800.0 - lead} | columns
    if trail_along is not None:
        given["trail_along_pct"] = np.interp(T, *trail_along)
    held = {name: np.asarray(values, dtype=np.float32) for name, values in given.items()}
    return SessionTrace(
        "s1", np.array([1], np.int32), np.array([0, T.size]), np.array([RATE]), np.array([t0_s]), held
    )


# From 50 % down to 20 % in 1.0 … 1.6 s, and up to 80 % in 2.1 … 2.5 s.
SHARE = ([0.0, 1.0, 1.6, 2.1, 2.5, 4.0], [0.5, 0.5, 0.2, 0.2, 0.8, 0.8])
HEEL_LIGHT, HEEL_HEAVY = ([0.0, 4.0], [70.0, 70.0]), ([0.0, 4.0], [15.0, 15.0])


def test_the_lead_foots_load_is_half_gone_and_half_back():
    found = weight_moves(trace(SHARE), 0, 10.0 + IMPACT_S)
    assert found.lead_light_s == pytest.approx(11.3, abs=0.01)
    assert found.lead_heavy_s == pytest.approx(12.3, abs=0.01)
    assert found.heel_late_s == 0.0  # nothing says where the trail foot is pressed


def test_a_sample_that_is_missing_is_drawn_as_a_straight_line():
    held = trace(SHARE)
    held.columns["lead_n"][200:210] = np.nan
    assert weight_moves(held, 0, 12.5).lead_light_s == pytest.approx(11.3, abs=0.01)


@pytest.mark.parametrize(
    ("along", "late_s"),
    [
        (HEEL_LIGHT, 0.0),
        (HEEL_HEAVY, math.inf),
        # All of the trail foot's 20 % on its heel until 2.6 s, none from 2.8 s: 6 % of the weight at 2.74 s.
        (([0.0, 2.6, 2.8, 4.0], [15.0, 15.0, 70.0, 70.0]), 0.24),
    ],
)
def test_the_trail_heel_is_late_by_as_long_as_it_carries_over_six_percent(along, late_s):
    assert weight_moves(trace(SHARE, along), 0, 12.5).heel_late_s == pytest.approx(late_s, abs=0.01)


def test_a_heel_that_is_measured_counts_for_more_than_where_the_foot_is_pressed():
    off = np.where(T < 2.6, 100.0, 0.0)
    found = weight_moves(trace(SHARE, HEEL_HEAVY, trail_heel_n=off), 0, 12.5)
    assert found.heel_late_s == pytest.approx(0.1, abs=0.02)


@pytest.mark.parametrize("impact_s", [9.0, 14.5])
def test_an_impact_outside_the_samples_says_nothing(impact_s):
    assert weight_moves(trace(SHARE), 0, impact_s) == NO_MOVES


def test_without_loads_nothing_is_said():
    held = trace(SHARE)
    assert weight_moves(replace(held, columns={}), 0, 12.5) == NO_MOVES
    assert weight_moves(replace(held, rate_hz=np.array([0.0])), 0, 12.5) == NO_MOVES
    held.columns["lead_n"][:] = held.columns["trail_n"][:] = 0.0
    assert weight_moves(held, 0, 12.5) == NO_MOVES
