"""Noise that is cut at zero, against the normal law."""

from statistics import NormalDist

import numpy as np
import pytest

from ingest.formats.grid_recording import hum_of


@pytest.mark.parametrize("loaded_kpa", [0.0, 0.5, 1.0, 2.0, 5.0])
def test_the_excess_of_cut_noise_is_that_of_the_normal_law(loaded_kpa):
    """Mean of max(0, p + N(0, σ²)) is p·Φ(p/σ) + σ·φ(p/σ), worked with the standard library."""
    law = NormalDist(0.0, 1.0)
    mean = loaded_kpa * law.cdf(loaded_kpa) + law.pdf(loaded_kpa)
    excess = hum_of(np.array([mean]), law.pdf(0.0))[0]
    assert excess == pytest.approx(mean - loaded_kpa, abs=0.01)
