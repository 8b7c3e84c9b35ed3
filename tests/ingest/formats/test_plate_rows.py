"""The look at a whole session names only swings that the look at one swing would find nothing in."""

import numpy as np
import pytest

from ingest.plate_rows import plain_swings, rows_by_swing


def swing(hz=200.0, count=300, start=0.0):
    """Times and loads of a swing without any fault."""
    place = np.arange(count)
    return {
        "t_s": np.round(start + place / hz, 6),
        "lead_n": 400 + 100 * np.sin(place / 40),
        "trail_n": 400 - 100 * np.sin(place / 40),
    }


def gap(columns):
    return {name: np.delete(values, slice(100, 104)) for name, values in columns.items()}


def uneven(columns):
    shifted = columns["t_s"].copy()
    shifted[50] += 1e-4
    return columns | {"t_s": shifted}


def back(columns):
    return columns | {"t_s": np.concatenate([columns["t_s"][:100], columns["t_s"][:200]])}


def flat(columns):
    return columns | {"trail_n": np.minimum(columns["trail_n"], 450.0)}


def unknown_time(columns):
    return columns | {"t_s": np.where(np.arange(300) == 7, np.nan, columns["t_s"])}


def named(swings):
    number = np.repeat(np.arange(1, len(swings) + 1), [len(s["t_s"]) for s in swings])
    return plain_swings(rows_by_swing(number), {n: np.concatenate([s[n] for s in swings]) for n in swings[0]})


def test_swings_without_fault_are_named_with_their_snapped_rates():
    assert named([swing(), swing(250.0, 70, start=3.0), swing(200.4)]) == pytest.approx(
        {1: 200.0, 2: 250.0, 3: 200.4}, rel=1e-5
    )
    assert named([swing()])[1] == 200.0


@pytest.mark.parametrize("fault", [gap, uneven, back, flat, unknown_time])
def test_a_swing_with_a_fault_is_left_for_a_closer_look_and_its_neighbours_are_not(fault):
    assert set(named([swing(), fault(swing()), swing()])) == {1, 3}


@pytest.mark.parametrize("hz", [40.0, 100.0, 2100.0])
def test_a_rate_near_or_over_a_limit_is_left_for_a_closer_look(hz):
    assert set(named([swing(hz), swing()])) == {2}


def test_swings_among_one_another_are_all_left_for_a_closer_look():
    columns = swing()
    assert plain_swings(rows_by_swing(np.arange(300) % 2), columns) == {}


def test_a_swing_of_one_sample_is_left_to_its_own_sentence():
    assert named([swing(count=1), swing()]) == {}
