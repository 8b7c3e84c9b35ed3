"""The filter against published figures.

Sources: displacement of a moving arm, Pezzack, Norman & Winter 1977, as shipped in optcutfreq 0.0.10
(docs/pezzack.txt; fetched, never kept here), with the package's own published cut-off of 5.592 Hz by Winter's
residual analysis (Winter, Biomechanics and Motor Control of Human Movement). The correction for two passes is
checked in tests/models/swing/test_filter.py.
"""

import numpy as np
import pytest
from scipy import signal

from models.swing.filter import lowpass


@pytest.fixture(scope="module")
def arm(outside_file):
    """Displacement and its rate, Hz."""
    time, displacement, _, _ = np.loadtxt(outside_file("pezzack.txt"), skiprows=6, unpack=True)
    return displacement, float(np.mean(1 / np.diff(time)))


def residual_cutoff_hz(values, rate_hz, filtered):
    """Winter's residual analysis: where the residual falls to the intercept of its noisy, straight part.

    The noisy part starts three lifetimes after the start of an exponential drawn through the residuals.
    """
    hz = np.linspace(rate_hz / 200, 0.802 * rate_hz / 2, 101, endpoint=False)
    residual = np.array([np.sqrt(np.mean((filtered(values, c, rate_hz) - values) ** 2)) for c in hz])
    last = int(0.95 * (hz.size - 1))
    drop = np.log(np.abs(residual[: last + 1] - residual[last]) + 1000 * np.finfo(float).eps)
    first = np.flatnonzero(hz >= -3 / np.polyfit(hz[: last + 1], drop, 1)[0])[0]
    _, level = np.polyfit(hz[first:last], residual[first:last], 1)
    k = np.flatnonzero(residual <= level)[0]
    return np.interp(-level, -residual[k - 1 : k + 1], hz[k - 1 : k + 1])


def test_the_residual_analysis_here_gives_the_published_cut_off(arm):
    def as_published(values, cutoff_hz, rate_hz):
        return signal.filtfilt(*signal.butter(2, cutoff_hz / 0.802 / (rate_hz / 2)), values)

    assert residual_cutoff_hz(*arm, as_published) == pytest.approx(5.592, abs=0.02)


def test_with_our_filter_it_gives_the_same_within_two_of_its_own_steps(arm):
    # Ours prewarps the cut-off and pads by a period, so the residuals differ a little; a step is 0.2 Hz.
    assert residual_cutoff_hz(*arm, lowpass) == pytest.approx(5.592, abs=0.4)
