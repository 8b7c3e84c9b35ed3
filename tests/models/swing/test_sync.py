"""The clip's clock against the plate's, on courses of along whose rise is known."""

import numpy as np
import pytest

from models.swing.sync import lay_over, toeward

FPS, RATE = 120.0, 250.0


def along(t, back=0.0):
    """Lead foot toward the toes and back about 1.2 s (`back` later), trail foot onto the toes from 1.8 s."""
    lead = 50 + 14 * np.exp(-(((t - 1.2 - back) / 0.18) ** 2))
    return np.array([lead, 52 + 34 / (1 + np.exp(-(t - 1.95) / 0.06))])


def rise(t, back=0.0):
    lead, trail = along(t, back)
    return np.array([1.5 * np.maximum(lead - 54, 0), 2.2 * np.maximum(trail - 68, 0)])


def laid(offset, *, back=0.0, seed=0):
    rng = np.random.default_rng(seed)
    plate = along(np.arange(int(3 * RATE)) / RATE) + rng.normal(0, 0.4, (2, int(3 * RATE)))
    smooth = np.array([toeward(np.full(plate.shape[1], 400.0), line, RATE) for line in plate])
    seen = rise(np.arange(int(2.4 * FPS)) / FPS + offset, back) + rng.normal(0, 0.5, (2, int(2.4 * FPS)))
    seen[rng.random(seen.shape) < 0.05] = np.nan
    return lay_over(seen, FPS, smooth, RATE, plate_s=7.0)


@pytest.mark.parametrize("offset", [-0.4, -0.123, 0.0, 0.2, 0.4])
def test_the_offset_is_found_within_a_frame_and_says_how_surely(offset):
    found = laid(offset)
    assert found.lag_s == pytest.approx(7.0 + offset, abs=1 / FPS)
    assert found.holds(1 / FPS)
    assert 0 < found.se_s < 1 / FPS


def test_a_clip_whose_backswing_lies_elsewhere_is_refused():
    assert not laid(0.1, back=0.06).holds(1 / FPS)


def test_still_feet_match_nothing():
    flat = np.full((2, 300), 50.0)
    assert lay_over(np.zeros((2, 200)), FPS, flat, RATE) is None
    noise = np.random.default_rng(1).normal(0, 0.5, (2, 200))
    found = lay_over(noise, FPS, flat + np.random.default_rng(2).normal(0, 0.5, (2, 300)), RATE)
    assert not found.holds(1 / FPS)


def test_a_foot_that_is_mostly_off_has_no_place():
    assert toeward(np.array([400.0] + [0.0] * 9), np.full(10, 50.0), RATE) is None
