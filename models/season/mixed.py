"""The season's mixed model: every student has a line with a start, a slope and a drift of their own.

Session j of student i, at t_ij months since that student's first session:

    y_ij = x_ij·γ + a_i + b_i·t_ij + W_i(t_ij) + e_ij

γ are the fixed effects (academy mean, mean slope, offsets of devices), (a_i, b_i) ~ N(0, G) the student's own
start and slope, W_i a Brownian path that starts at 0, e_ij ~ N(0, σ²_session + σ²_swing/n_ij). The variance
parts (sd_a, sd_b, ρ, sd_session, τ) say how much of each there is.

`integrate` gives the posterior of the variance parts under weak priors: the restricted likelihood
(kernel.restricted, in which γ is already integrated out) times the prior, sampled by importance about its
mode. Plugging in one estimate instead makes the intervals of a few dozen students far too short. `lines`
predicts each student's line under every draw.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.season import kernel
from models.season.kernel import COUNTS, FLOATS

DRAWS = 1800
ROUNDS = 3
KEPT_DRAWS = 128
MODE_ONLY_FROM = 300  # students: from so many on the variance parts are known well enough
TAIL = 6.0  # degrees of freedom of the proposal, heavy enough for the likelihood's flat directions
LOWEST, HIGHEST = -7.0, 4.0  # of the log standard deviations, in units of the scales
STEP = 2e-3
ROUNDING = 1e-12  # of a value: sums of the same numbers differ by so little
SAMPLE = 500  # students: enough to start near the mode
FARTHEST_LOW, FARTHEST_HIGH = -16.0, 8.0
START = np.array([0.0, -0.7, 0.0, -0.4, -0.7])


@dataclass(frozen=True)
class Cell:
    """One metric and club family of one season, students one after another, each by time.

    offsets (S + 1,); t (N,) 30-day months since the student's first session; y (N,); error (N,) known error
    variance of each value (σ²_swing / n); x (N, p) fixed columns, the first two 1 and t.
    """

    offsets: COUNTS
    t: FLOATS
    y: FLOATS
    error: FLOATS
    x: FLOATS

    @property
    def owner(self) -> NDArray[np.intp]:
        """(N,) which student each row belongs to."""
        return np.repeat(np.arange(self.offsets.size - 1), np.diff(self.offsets))

    def thinned(self, step: int) -> "Cell":
        """The same cell with every `step`-th student only."""
        kept = self.owner % step == 0
        counts = np.diff(self.offsets)[::step]
        offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        return Cell(offsets, self.t[kept], self.y[kept], self.error[kept], self.x[kept])


@dataclass(frozen=True)
class Scales:
    """What the priors are measured in: residual sd about own lines, median span, twice the sd of means."""

    residual: float
    span: float
    level: float


@dataclass(frozen=True)
class Posterior:
    """Draws of the variance parts (D, 5) in the data's units, equal in weight, with γ̂ and its covariance.

    `effective` is the number of independent draws that the importance weights were worth.
    """

    parts: FLOATS
    gammas: FLOATS
    covs: FLOATS
    effective: float


def scales(cell: Cell) -> Scales | None:
    """Scales of the priors; None when nothing varies about the students' lines, or none has three rows."""
    owner, counts = cell.owner, np.diff(cell.offsets).astype(float)
    students = counts.size

    def per(values: FLOATS) -> FLOATS:
        return np.asarray(np.bincount(owner, values, students), dtype=np.float64)

    with np.errstate(invalid="ignore", divide="ignore"):
        mean_t, mean_y = per(cell.t) / counts, per(cell.y) / counts
        dt, dy = cell.t - mean_t[owner], cell.y - mean_y[owner]
        stt, sty, syy = per(dt * dt), per(dt * dy), per(dy * dy)
        left = np.where(stt > 0, syy - np.where(stt > 0, sty**2 / stt, 0.0), 0.0)
    usable = (counts >= 3) & (stt > 0)
    if not usable.any():
        return None
    residual = np.sqrt(max(left[usable].sum(), 0.0) / (counts[usable] - 2).sum())
    span = float(np.median(cell.t[cell.offsets[1:][usable] - 1]))
    level = float(np.std(mean_y, ddof=1)) if students > 1 else 0.0
    # What varies by rounding alone does not vary.
    least = max(1e-9 * float(np.ptp(cell.y)), ROUNDING * float(np.abs(cell.y).max()))
    if span <= 0 or residual <= least or residual == 0:
        return None
    return Scales(float(residual), span, 2 * max(level, 0.1 * float(residual)))


def natural(phi: FLOATS, by: Scales) -> FLOATS:
    """(D, 5) log sd_a, log sd_b, atanh ρ, log sd_session, log τ in units of the scales → variance parts."""
    parts = np.exp(phi)
    parts[:, 0] *= by.level
    parts[:, 1] *= by.residual / by.span
    parts[:, 2] = np.tanh(phi[:, 2])
    parts[:, 3] *= by.residual
    parts[:, 4] *= by.residual / np.sqrt(by.span)
    return parts


def log_prior(phi: FLOATS) -> FLOATS:
    """Log prior density of φ, up to a constant, the change of variables included.

    With x the standard deviation in units of its scale: σ_b ∝ x(1 + x²/4)^(−5/2), zero at zero; σ_a,
    σ_session and τ half-t with 4 degrees of freedom; ρ LKJ(2).
    """
    x = np.exp(phi)
    half_t = -2.5 * np.log1p(x**2 / 4)
    one_less = -2 * np.log(np.cosh(phi[:, 2]))  # log(1 − ρ²)
    of_sds = np.sum((half_t + phi)[:, [0, 1, 3, 4]], axis=1)
    return np.asarray(of_sds + phi[:, 1] + 2 * one_less)


def maximise(
    log_density: Callable[[FLOATS], FLOATS], start: FLOATS, lowest: float = LOWEST, highest: float = HIGHEST
) -> tuple[FLOATS, FLOATS, float]:
    """Maximum of `log_density` ((D, k) → (D,)) by damped Newton steps on central differences.

    Returns where it is (k,), the Hessian there (k, k) and the value. All points of a step are evaluated in
    one call, so a step costs one pass through the compiled loop.
    """
    k = start.size
    at, damp = start.copy(), 1e-3
    value, gradient, hessian = _differences(log_density, at)
    for _ in range(60):
        values, vectors = np.linalg.eigh(-hessian)
        stiff = np.maximum(np.abs(values), 1e-2) + damp
        move = np.clip(vectors @ ((vectors.T @ gradient) / stiff), -1.5, 1.5)
        tries = np.clip(at + move * 0.4 ** np.arange(5)[:, None], lowest, highest)
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
        if gain < 1e-9 * (1 + abs(value)) and moved < 1e-3:
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


def likelihood(cell: Cell, parts: FLOATS) -> tuple[FLOATS, FLOATS, FLOATS]:
    """`kernel.restricted` for this cell: (D,) log likelihoods, (D, p) γ̂, (D, p, p) covariances."""
    return kernel.restricted(np.ascontiguousarray(parts), cell.offsets, cell.t, cell.y, cell.error, cell.x)


def integrate(cell: Cell, by: Scales, draws: int = DRAWS, kept: int = KEPT_DRAWS) -> Posterior | None:
    """Posterior of the variance parts; None when the fixed effects are not identified.

    `draws` importance draws about the mode, cut down to `kept` of equal weight by systematic resampling. From
    300 students on the variance parts are known well enough for the mode alone.
    """

    def log_density(phi: FLOATS) -> FLOATS:
        return np.asarray(likelihood(cell, natural(phi, by))[0] + log_prior(phi))

    mode, hessian, top = maximise(log_density, _first_guess(cell, by))
    if not np.isfinite(top):
        return None
    if cell.offsets.size - 1 >= MODE_ONLY_FROM:
        return posterior_given(cell, natural(mode[None], by), 1.0)
    phi, weight = _importance(log_density, mode, hessian, draws)
    order = similar_in_order(phi, weight, np.arange(len(phi)))
    picks = (np.arange(kept) + np.random.default_rng(20260403).uniform(size=kept)) / kept
    at = order[np.searchsorted(np.cumsum(weight[order]), picks * (1 - 1e-12))]
    return posterior_given(cell, natural(phi[at], by), float(1 / np.sum(weight**2)))


def _first_guess(cell: Cell, by: Scales) -> FLOATS:
    """Where to start: in a large academy, the mode for an even sample of its students."""
    step = (cell.offsets.size - 1) // SAMPLE
    if step < 2:
        return START
    few = cell.thinned(step)
    return maximise(lambda phi: np.asarray(likelihood(few, natural(phi, by))[0] + log_prior(phi)), START)[0]


def similar_in_order(phi: FLOATS, weight: FLOATS, rows: NDArray[np.intp], axis: int = 4) -> NDArray[np.intp]:
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
        [similar_in_order(phi, weight, rows[:half], after), similar_in_order(phi, weight, rows[half:], after)]
    )


def posterior_given(cell: Cell, parts: FLOATS, effective: float = 1.0) -> Posterior:
    """The posterior when these draws of the variance parts are taken as they are."""
    _, gammas, covs = likelihood(cell, parts)
    return Posterior(parts, gammas, covs, effective)


def _importance(
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
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        centres.append(weight @ phi)
        away = phi - centres[-1]
        roots.append(np.linalg.cholesky(away.T @ (away * weight[:, None]) + 1e-4 * np.eye(k)))
    return phi, weight


def _log_t(phi: FLOATS, centre: FLOATS, root: FLOATS) -> FLOATS:
    """Log density of the multivariate t with TAIL degrees of freedom, up to a constant."""
    z = np.linalg.solve(root, (phi - centre).T)
    size = np.linalg.slogdet(root)[1]
    return np.asarray(-0.5 * (TAIL + len(root)) * np.log1p(np.sum(z**2, axis=0) / TAIL) - size)


def lines(cell: Cell, posterior: Posterior, grid: FLOATS, grid_x: FLOATS) -> tuple[FLOATS, FLOATS, FLOATS]:
    """Each student's line at the months `grid` (S, K), where the fixed columns are `grid_x` (S, K, p).

    Returns its mean (D, S, K) and variance (D, S, K) under each of the D draws, and the covariance (D, S) of
    its first and last point: `kernel.lines`.
    """
    return kernel.lines(
        posterior.parts, posterior.gammas, posterior.covs, cell.offsets, cell.t, cell.y, cell.error, cell.x,
        np.ascontiguousarray(grid), np.ascontiguousarray(grid_x),
    )  # fmt: skip
