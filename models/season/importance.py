"""Importance sampling of a handful of parameters about the mode of their density.

For the variance parts of the season's model (mixed.py), whose density is known up to a constant and costs one
compiled pass for many points at once.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import special

from models.season.kernel import FLOATS

ROUNDS = 3
TAIL = 6.0  # degrees of freedom of the proposal, heavy enough for the likelihood's flat directions
LOWEST, HIGHEST = -7.0, 4.0  # where the mode is looked for: log standard deviations in units of their scales
FARTHEST_LOW, FARTHEST_HIGH = -16.0, 8.0
STEP = 2e-3
SDS, RHO, EXPONENTS = [0, 1, 3, 4], 2, [5, 7, 8]  # columns of the variance parts; 6 is ω


def log_half_t(log_x: FLOATS) -> FLOATS:
    """Log density of log x where x is half-t with 4 degrees of freedom, up to a constant."""
    return np.asarray(-2.5 * np.log1p(np.exp(log_x) ** 2 / 4) + log_x)


def log_prior(phi: FLOATS) -> FLOATS:
    """Log prior density of φ, up to a constant, the change of variables included.

    With x the standard deviation in units of its scale: σ_b ∝ x(1 + x²/4)^(−5/2), zero at zero; σ_a,
    σ_session and τ half-t with 4 degrees of freedom; ρ LKJ(2); κ, λ, μ ~ N(½, ½²), ω half-normal with sd ½.
    """
    of_noise = 0.0
    if phi.shape[1] > 5:
        exponents = np.sum((phi[:, EXPONENTS] - 0.5) ** 2, axis=1)
        of_noise = phi[:, 6] - 2 * exponents - 2 * np.exp(2 * phi[:, 6])
    of_sds = np.sum(log_half_t(phi[:, SDS]), axis=1)
    one_less = -2 * np.log(np.cosh(phi[:, RHO]))  # log(1 − ρ²)
    return np.asarray(of_sds + phi[:, 1] + 2 * one_less + of_noise)


def maximise(
    log_density: Callable[[FLOATS], FLOATS], start: FLOATS, lowest: float = LOWEST, tolerance: float = 1.0
) -> tuple[FLOATS, FLOATS, float]:
    """Maximum of `log_density` ((D, k) → (D,)) by damped Newton steps on central differences.

    Returns where it is (k,), the Hessian there (k, k) and the value. All points of a step are evaluated in
    one call, so a step costs one pass through the compiled loop. A `tolerance` above 1 stops sooner.
    """
    k = start.size
    at, damp = start.copy(), 1e-3
    value, gradient, hessian = _differences(log_density, at)
    for _ in range(60):
        values, vectors = np.linalg.eigh(-hessian)
        stiff = np.maximum(np.abs(values), 1e-2) + damp
        move = np.clip(vectors @ ((vectors.T @ gradient) / stiff), -1.5, 1.5)
        tries = np.clip(at + move * 0.4 ** np.arange(5)[:, None], lowest, HIGHEST)
        densities = np.nan_to_num(log_density(tries), nan=-np.inf)
        best = int(np.argmax(densities))
        if not densities[best] > value:
            if damp > 1e3:
                break
            damp *= 30
            continue
        gain, moved = densities[best] - value, np.abs(tries[best] - at).max()
        at, damp = tries[best], max(damp * 0.1, 1e-6)
        value, gradient, hessian = _differences(log_density, at)
        if gain < tolerance * 1e-9 * (1 + abs(value)) and moved < tolerance * 1e-3:
            break
    return at, hessian.reshape(k, k), value


def _differences(log_density: Callable[[FLOATS], FLOATS], at: FLOATS) -> tuple[float, FLOATS, FLOATS]:
    """Value, gradient and Hessian by central differences of width STEP."""
    k = at.size
    one, (rows, cols) = np.eye(k) * STEP, np.triu_indices(k, 1)
    both = one[rows] + one[cols]
    f = log_density(np.concatenate([at[None], at + one, at - one, at + both, at - both]))
    middle, up, down = f[0], f[1 : k + 1], f[k + 1 : 2 * k + 1]
    upper, lower = f[2 * k + 1 : 2 * k + 1 + rows.size], f[2 * k + 1 + rows.size :]
    hessian = np.diag((up - 2 * middle + down) / STEP**2)
    cross = (upper - up[rows] - up[cols] + 2 * middle - down[rows] - down[cols] + lower) / (2 * STEP**2)
    hessian[rows, cols] = hessian[cols, rows] = cross
    return float(middle), (up - down) / (2 * STEP), hessian


def resampled(phi: FLOATS, weight: FLOATS, kept: int) -> NDArray[np.intp]:
    """Rows of `kept` draws of equal weight, by systematic resampling of neighbours that are similar."""
    order = _similar_in_order(phi, weight, np.arange(len(phi)))
    picks = (np.arange(kept) + np.random.default_rng(20260403).uniform(size=kept)) / kept
    return np.asarray(order[np.searchsorted(np.cumsum(weight[order]), picks * (1 - 1e-12))])


def _similar_in_order(phi: FLOATS, weight: FLOATS, rows: NDArray[np.intp], axis: int = 4) -> NDArray[np.intp]:
    """Rows ordered so that neighbours are similar: halved by weight along one axis after another.

    One random pick in each even stretch of it has half the Monte Carlo error of picks from a shuffled order.
    """
    rows = rows[np.argsort(phi[rows, axis], kind="stable")]
    if rows.size <= 16:
        return rows
    total = np.cumsum(weight[rows])
    half = int(np.clip(np.searchsorted(total, total[-1] / 2), 1, rows.size - 1))
    after = axis - 1 if axis else phi.shape[1] - 1
    return np.concatenate(
        [
            _similar_in_order(phi, weight, rows[:half], after),
            _similar_in_order(phi, weight, rows[half:], after),
        ]
    )


def importance_draws(
    log_density: Callable[[FLOATS], FLOATS], mode: FLOATS, hessian: FLOATS, draws: int
) -> tuple[FLOATS, FLOATS]:
    """Draws (D, k) and their normalised weights, from ROUNDS proposals of a multivariate t.

    The first proposal is centred on the mode, each later one on the weighted mean and covariance of all draws
    before it. Every draw is weighted by its density over the mean density of all proposals: adaptive multiple
    importance sampling (Cornuet et al. 2012, Scand J Stat 39).
    """
    k, rng = mode.size, np.random.default_rng(20260401)
    values, vectors = np.linalg.eigh(-hessian)
    centres, roots = [mode], [vectors / np.sqrt(np.maximum(values, 0.15))]
    phi, densities = np.empty((0, k)), np.empty(0)
    for _ in range(ROUNDS):
        half = rng.standard_normal((draws // ROUNDS // 2, k))
        half *= np.sqrt(TAIL / rng.chisquare(TAIL, len(half)))[:, None]
        new = np.clip(centres[-1] + np.concatenate([half, -half]) @ roots[-1].T, FARTHEST_LOW, FARTHEST_HIGH)
        phi = np.concatenate([phi, new])
        densities = np.concatenate([densities, np.nan_to_num(log_density(new), nan=-np.inf)])
        density = [_log_t(phi, centre, root) for centre, root in zip(centres, roots, strict=True)]
        log_weight = densities - np.logaddexp.reduce(density, axis=0)
        weight = special.softmax(log_weight)
        centres.append(weight @ phi)
        away = phi - centres[-1]
        roots.append(np.linalg.cholesky(away.T @ (away * weight[:, None]) + 1e-4 * np.eye(k)))
    return phi, weight


def _log_t(phi: FLOATS, centre: FLOATS, root: FLOATS) -> FLOATS:
    """Log density of the multivariate t with TAIL degrees of freedom, up to a constant."""
    z = np.linalg.solve(root, (phi - centre).T)
    size = np.linalg.slogdet(root)[1]
    return np.asarray(-0.5 * (TAIL + len(root)) * np.log1p(np.sum(z**2, axis=0) / TAIL) - size)
