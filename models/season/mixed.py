"""The one fit of the season: students' lines with their own starts, slopes and wandering.

Model (kernel.py): y_ij = x_ij·γ + a_i + b_i·t_ij + W_i(t_ij) + e_ij. `integrate` gives the posterior of the
variance parts under weak priors as importance draws about its mode; plugging in one estimate instead makes
the intervals of a few dozen students far too short. `fit_reml` is the plain restricted-likelihood fit,
kept for the reference checks.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.season.kernel import COUNTS, FLOATS, restricted

DRAWS = 1800
ROUNDS = 3
KEPT_DRAWS = 128
FROM_HERE_THE_MODE = 300  # students: from so many on the variance parts are known well enough
TAIL = 6.0  # degrees of freedom of the proposal, heavy enough for the likelihood's flat directions
LOWEST, HIGHEST = -7.0, 4.0  # of the log standard deviations, in units of the scales
STEP = 2e-3
ROUNDING = 1e-12  # of a value: sums of the same numbers differ by so little
SAMPLE = 500  # students enough to climb near the mode
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

    def every(self, step: int) -> "Cell":
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
    """Draws of the variance parts (D, 5) in the data's units, alike in weight, with γ̂ and its covariance.

    `effective` is the number of independent draws that the importance weights were worth.
    """

    parts: FLOATS
    gammas: FLOATS
    covs: FLOATS
    effective: float


@dataclass(frozen=True)
class RemlFit:
    """Restricted-likelihood estimates: variance parts (5,), fixed effects, their covariance, height."""

    parts: FLOATS
    gamma: FLOATS
    cov: FLOATS
    log_likelihood: float


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


def climb(
    height: Callable[[FLOATS], FLOATS], start: FLOATS, lowest: float = LOWEST, highest: float = HIGHEST
) -> tuple[FLOATS, FLOATS, float]:
    """Maximum of `height` ((D, k) → (D,)) by damped Newton steps on central differences.

    Returns the place (k,), the Hessian there (k, k) and the height. All points of a step are evaluated in one
    call, so a step costs one pass through the compiled loop.
    """
    k = start.size
    at, damp = start.copy(), 1e-3
    value, slope, bend = _differences(height, at)
    for _ in range(60):
        values, vectors = np.linalg.eigh(-bend)
        stiff = np.maximum(np.abs(values), 1e-2) + damp
        move = np.clip(vectors @ ((vectors.T @ slope) / stiff), -1.5, 1.5)
        tries = np.clip(at + move * 0.4 ** np.arange(5)[:, None], lowest, highest)
        heights = np.nan_to_num(height(tries), nan=-np.inf)
        best = int(np.argmax(heights))
        if not heights[best] > value:
            if damp > 1e3:
                break
            damp *= 30
            continue
        gain, moved = heights[best] - value, np.abs(tries[best] - at).max()
        at, damp = tries[best], max(damp * 0.1, 1e-6)
        value, slope, bend = _differences(height, at)
        if gain < 1e-9 * (1 + abs(value)) and moved < 1e-3:
            break
    return at, bend.reshape(k, k), value


def _differences(height: Callable[[FLOATS], FLOATS], at: FLOATS) -> tuple[float, FLOATS, FLOATS]:
    """Height, slope and Hessian by central differences of width STEP."""
    k = at.size
    one, (rows, cols) = np.eye(k) * STEP, np.triu_indices(k, 1)
    both = one[rows] + one[cols]
    f = height(np.concatenate([at[None], at + one, at - one, at + both, at - both]))
    middle, up, down = f[0], f[1 : k + 1], f[k + 1 : 2 * k + 1]
    upper, lower = f[2 * k + 1 : 2 * k + 1 + rows.size], f[2 * k + 1 + rows.size :]
    bend = np.diag((up - 2 * middle + down) / STEP**2)
    cross = (upper - up[rows] - up[cols] + 2 * middle - down[rows] - down[cols] + lower) / (2 * STEP**2)
    bend[rows, cols] = bend[cols, rows] = cross
    return float(middle), (up - down) / (2 * STEP), bend


def likelihood(cell: Cell, parts: FLOATS) -> tuple[FLOATS, FLOATS, FLOATS]:
    """`restricted` for this cell: (D,) log likelihoods, (D, p) γ̂, (D, p, p) covariances."""
    return restricted(np.ascontiguousarray(parts), cell.offsets, cell.t, cell.y, cell.error, cell.x)


def integrate(cell: Cell, by: Scales, draws: int = DRAWS, kept: int = KEPT_DRAWS) -> Posterior | None:
    """Posterior of the variance parts; None when the fixed effects can't be told apart.

    Importance draws about the mode, cut down to `kept` draws alike in weight. From 300 students on, the mode
    alone.
    """

    def height(phi: FLOATS) -> FLOATS:
        return np.asarray(likelihood(cell, natural(phi, by))[0] + log_prior(phi))

    mode, bend, top = climb(height, _first_guess(cell, by))
    if not np.isfinite(top):
        return None
    if cell.offsets.size - 1 >= FROM_HERE_THE_MODE:
        return _posterior(cell, natural(mode[None], by), 1.0)
    phi, weight = _importance(height, mode, bend, draws)
    order = neighbours(phi, weight, np.arange(len(phi)))
    picks = (np.arange(kept) + np.random.default_rng(20260403).uniform(size=kept)) / kept
    at = order[np.searchsorted(np.cumsum(weight[order]), picks * (1 - 1e-12))]
    return _posterior(cell, natural(phi[at], by), float(1 / np.sum(weight**2)))


def _first_guess(cell: Cell, by: Scales) -> FLOATS:
    """Where to climb from: in a large academy, the mode of every so-manyth student's likelihood."""
    step = (cell.offsets.size - 1) // SAMPLE
    if step < 2:
        return START
    few = cell.every(step)
    return climb(lambda phi: np.asarray(likelihood(few, natural(phi, by))[0] + log_prior(phi)), START)[0]


def neighbours(phi: FLOATS, weight: FLOATS, rows: NDArray[np.intp], axis: int = 4) -> NDArray[np.intp]:
    """Rows in an order in which neighbours are alike: halved by weight along one axis after another.

    One random pick in each even stretch of it leaves half as much to chance as picks from a shuffled order.
    """
    rows = rows[np.argsort(phi[rows, axis], kind="stable")]
    if rows.size <= 16:
        return rows
    total = np.cumsum(weight[rows])
    half = int(np.clip(np.searchsorted(total, total[-1] / 2), 1, rows.size - 1))
    after = axis - 1 if axis else phi.shape[1] - 1
    return np.concatenate(
        [neighbours(phi, weight, rows[:half], after), neighbours(phi, weight, rows[half:], after)]
    )


def _posterior(cell: Cell, parts: FLOATS, effective: float) -> Posterior:
    _, gammas, covs = likelihood(cell, parts)
    return Posterior(parts, gammas, covs, effective)


def _importance(
    height: Callable[[FLOATS], FLOATS], mode: FLOATS, bend: FLOATS, draws: int
) -> tuple[FLOATS, FLOATS]:
    """Places (D, k) and their normalised weights, from ROUNDS clouds of a multivariate t.

    The first cloud lies about the mode, each next about the mean and spread of all before it. Every draw is
    weighted by the height over the mean density of all clouds (Cornuet et al. 2012, Scand J Stat 39: adaptive
    multiple importance sampling).
    """
    k, rng = mode.size, np.random.default_rng(20260401)
    values, vectors = np.linalg.eigh(-bend)
    centres, roots = [mode], [vectors / np.sqrt(np.maximum(values, 0.15))]
    phi, heights = np.empty((0, k)), np.empty(0)
    for _ in range(ROUNDS):
        half = rng.standard_normal((draws // ROUNDS // 2, k))
        half *= np.sqrt(TAIL / rng.chisquare(TAIL, len(half)))[:, None]
        new = np.clip(centres[-1] + np.concatenate([half, -half]) @ roots[-1].T, FARTHEST_LOW, FARTHEST_HIGH)
        phi = np.concatenate([phi, new])
        heights = np.concatenate([heights, np.nan_to_num(height(new), nan=-np.inf)])
        density = [_log_t(phi, centre, root) for centre, root in zip(centres, roots, strict=True)]
        log_weight = heights - np.logaddexp.reduce(density, axis=0)
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


def fit_reml(cell: Cell, *, slopes: bool = True) -> RemlFit:
    """Plain restricted maximum likelihood without wandering and without priors.

    `slopes` False: random intercepts only. Made for comparison with published fits and other programs.
    """
    by = Scales(float(np.std(cell.y)), max(float(np.max(cell.t)), 1e-9), float(np.std(cell.y)))

    def parts_of(phi: FLOATS) -> FLOATS:
        full = np.full((len(phi), 5), -np.inf)
        full[:, [0, 1, 2, 3] if slopes else [0, 3]] = phi
        if not slopes:
            full[:, 2] = 0.0
        return natural(full, by)

    start = np.array([-1.0, -1.5, 0.0, -1.0]) if slopes else np.array([-1.0, -1.0])
    at, _, top = climb(lambda phi: likelihood(cell, parts_of(phi))[0], start, lowest=-9.0)
    _, gammas, covs = likelihood(cell, parts_of(at[None]))
    return RemlFit(parts_of(at[None])[0], gammas[0], covs[0], top)
