import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from models.swing.filter import TWO_PASS, coefficients, lowpass, padding
from warehouse.errors import UnderfootError


def scipy_lowpass(x, cutoff, rate):
    corrected = rate / np.pi * np.arctan(np.tan(np.pi * cutoff / rate) / (np.sqrt(2) - 1) ** 0.25)
    b, a = signal.butter(2, corrected, fs=rate)
    sos = signal.butter(2, corrected, fs=rate, output="sos")
    padlen = padding(cutoff, rate, x.size)
    return (
        signal.filtfilt(b, a, x, padtype="odd", padlen=padlen),
        signal.sosfiltfilt(sos, x, padtype="odd", padlen=padlen),
    )


def test_two_pass_correction_is_the_published_one():
    """Winter, Biomechanics and Motor Control of Human Movement (from memory): C = (√2 − 1)^(1/4) = 0.802."""
    assert pytest.approx(0.80224, abs=5e-6) == TWO_PASS


@pytest.mark.parametrize(
    ("cutoff", "rate"), [(5, 100), (15, 500), (20, 500), (50, 500), (20, 2000), (12.5, 50)]
)
def test_gain_at_the_wanted_cutoff_is_half_power_after_both_passes(cutoff, rate):
    """By definition of a cut-off: gain 1/√2 = .7071 of the two passes together."""
    b0, a1, a2 = coefficients(float(cutoff), float(rate))
    _, response = signal.freqz([b0, 2 * b0, b0], [1, a1, a2], worN=[cutoff], fs=rate)
    assert abs(response[0]) ** 2 == pytest.approx(1 / math.sqrt(2), abs=1e-9)


@pytest.mark.parametrize(
    ("cutoff", "rate"), [(20, 50), (12.5, 50), (20, 125), (50, 500), (15, 500), (5, 500), (5, 2000)]
)
def test_filter_equals_scipys_forward_backward_filters(cutoff, rate):
    rng = np.random.default_rng(1)
    x = rng.normal(0, 1, 700).cumsum() + 400
    for wanted in scipy_lowpass(x, cutoff, rate):
        np.testing.assert_allclose(lowpass(x, cutoff, rate), wanted, rtol=0, atol=1e-7)


def test_a_sine_at_the_cutoff_comes_out_at_half_power_and_unshifted():
    t = np.arange(2000) / 500
    x = np.sin(2 * np.pi * 20 * t)
    y = lowpass(x, 20, 500)[500:1500]
    assert y @ x[500:1500] / (x[500:1500] @ x[500:1500]) == pytest.approx(0.70711, abs=1e-4)


@given(st.floats(-1000, 1000), st.integers(1, 300))
def test_a_level_passes_unchanged_however_short(level, count):
    np.testing.assert_allclose(lowpass(np.full(count, level), 20, 500), level, rtol=1e-9, atol=1e-9)


@given(st.floats(-1000, 1000), st.floats(-50, 50), st.integers(60, 300))
def test_a_straight_ramp_keeps_its_ends_to_a_fiftieth_of_a_sample(level, slope, count):
    """So padding moves neither the address nor the finish."""
    x = level + slope * np.arange(count)
    assert abs(lowpass(x, 20, 500) - x).max() <= 0.02 * abs(slope) + 1e-9 * (1 + abs(x).max())


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_very_short_signals_pass(count):
    assert np.isfinite(lowpass(np.arange(count, dtype=float), 20, 500)).all()


def test_a_rate_under_two_and_a_half_cutoffs_leaves_the_signal_as_it_is():
    x = np.random.default_rng(0).normal(size=100)
    np.testing.assert_array_equal(lowpass(x, 20, 49), x)


def test_gaps_are_refused_with_a_sentence():
    with pytest.raises(UnderfootError, match="bridge the gaps"):
        lowpass([1.0, math.nan, 2.0], 20, 500)
