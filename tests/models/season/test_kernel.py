"""The compiled likelihood: many rows of variance parts at once, against each alone and against its formula."""

from itertools import pairwise

import numpy as np
import pytest

from models.season.kernel import LANES
from models.season.mixed import Cell, likelihood


def data(counts, seed=3):
    rng = np.random.default_rng(seed)
    offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    t = np.concatenate([np.sort(rng.uniform(0, 6, n)) for n in counts])
    y, error = 70 + rng.normal(0, 5, t.size), rng.uniform(0, 2, t.size)
    return offsets, t, y, error, np.stack([np.ones(t.size), t], axis=1)


def restricted(rows, *cell):
    return likelihood(Cell(*cell), rows)


def parts(rows, seed=4):
    rng = np.random.default_rng(seed)
    made = np.exp(rng.normal(0, 1, (rows, 5)))
    made[:, 2] = np.tanh(rng.normal(0, 1, rows))
    return made


def by_formula(row, offsets, t, y, error, x):
    """−½[log|V| + log|XᵀV⁻¹X| + r'V⁻¹r + (N − p)·log 2π] with V written out whole (Harville 1974, from memory)."""
    sd_a, sd_b, rho, sd_e, tau = row
    v = np.diag(sd_e**2 + error)
    for low, high in pairwise(offsets):
        one, other = np.meshgrid(t[low:high], t[low:high])
        v[low:high, low:high] += sd_a**2 + rho * sd_a * sd_b * (one + other) + sd_b**2 * one * other
        v[low:high, low:high] += tau**2 * (np.minimum(one, other) - t[low])
    inverse = np.linalg.inv(v)
    cov = np.linalg.inv(x.T @ inverse @ x)
    gamma = cov @ x.T @ inverse @ y
    left = y - x @ gamma
    size = np.linalg.slogdet(v)[1] - np.linalg.slogdet(cov)[1] + left @ inverse @ left
    return -0.5 * (size + (y.size - x.shape[1]) * np.log(2 * np.pi)), gamma, cov


@pytest.mark.parametrize("counts", [[1, 8, 9, 3], [16, 2, 17], [40]])
def test_the_filter_gives_what_the_whole_matrix_gives(counts):
    cell, rows = data(counts), parts(3)
    heights, gammas, covs = restricted(rows, *cell)
    for k, row in enumerate(rows):
        height, gamma, cov = by_formula(row, *cell)
        np.testing.assert_allclose(heights[k], height, rtol=1e-9)
        np.testing.assert_allclose(gammas[k], gamma, rtol=1e-7)
        np.testing.assert_allclose(covs[k], cov, rtol=1e-7)


@pytest.mark.parametrize("rows", [1, 5, LANES - 1, LANES, LANES + 1, 2 * LANES + 7])
def test_rows_worked_on_together_give_the_bits_that_each_gives_alone(rows):
    cell, given = data([8, 5, 1, 12]), parts(rows)
    together = restricted(given, *cell)
    alone = [restricted(row[None], *cell) for row in given]
    for k in range(3):
        np.testing.assert_array_equal(together[k], np.concatenate([one[k] for one in alone]))


def test_a_row_that_cannot_be_fitted_is_null_and_leaves_its_neighbours_alone():
    cell, given = data([8, 5]), parts(3)
    given[1] = np.nan
    heights = restricted(given, *cell)[0]
    assert np.isnan(heights).tolist() == [False, True, False]


def test_very_small_and_very_large_spreads_neither_vanish_nor_overflow():
    offsets, t, y, error, x = data([30, 30])
    row = parts(1)
    plain = restricted(row, offsets, t, y, error, x)[0]
    for unit in (1e-12, 1e12):  # in another unit every standard deviation and value is `unit` times as large
        scaled = row * [unit, unit, 1, unit, unit]
        height = restricted(scaled, offsets, t, y * unit, error * unit**2, x)[0]
        np.testing.assert_allclose(height, plain - (t.size - 2) * np.log(unit), rtol=1e-9)
