"""The season's mixed model: every student has a line with a start, a slope and a drift of their own.

Session j of student i, at t_ij months since that student's first session:

    y_ij = x_ij·γ + a_i + b_i·t_ij + W_i(t_ij) + e_ij

γ are the fixed effects (academy mean, mean slope, offsets of devices), (a_i, b_i) ~ N(0, G) the student's own
start and slope, W_i a Brownian path that starts at 0, e_ij ~ N(0, σ²_i + s²_i/n_ij). The variance parts
(sd_a, sd_b, ρ, sd_session, τ, κ, ω, λ, μ) say how much of each there is.

Students differ in noise: s_i is their own sd from swing to swing, and their sd from session to session is
σ_i = sd_session·exp(κ·ℓ_i + ω·z_i), ℓ_i the centred log of s_i and z_i ~ N(0, 1) known only by how their
sessions scatter. Their wandering has the sd τ·exp(ω·z_i), so that a student who leaps is not taken for one
who is measured badly. z_i is integrated over the NODES of a Gauss-Hermite rule.

A fault that shows in some swings makes a student's swings vary, lies far from where others start and, as it
fades, moves the mean by more than they ever move: (a_i, b_i) have the sds sd_a·exp(μ·ℓ_i), sd_b·exp(λ·ℓ_i).

`integrate` gives the posterior of the variance parts under weak priors: the restricted likelihood
(kernel.restricted, in which γ is already integrated out) times the prior, sampled by importance about its
mode. Plugging in one estimate instead makes the intervals of a few dozen students far too short.
"""

from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from models.season import kernel, line_kernel
from models.season.importance import EXPONENTS, RHO, importance_draws, log_prior, maximise, resampled
from models.season.kernel import COUNTS, FLOATS

DRAWS = 480
KEPT_DRAWS = 64
MODE_ONLY_FROM = 300  # students: from so many on the variance parts are known well enough
ROUNDING = 1e-12  # of a value: sums of the same numbers differ by so little
ENOUGH = 1000  # students, evenly drawn: the largest spreads are known to about 2 % (1/√2n), smaller ones less
START = np.array([0.0, -0.7, 0.0, -0.4, -0.7, 0.5, -1.2, 0.5, 0.5])
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
WEIGHTS = WEIGHTS / WEIGHTS.sum()
PARTS = START.size
LOOSE = 100.0  # times the usual tolerance: the draws find their centre by themselves
SETTLED = 3  # rounds of expectation and maximisation for γ̂ over the nodes
FARTHEST = 20.0  # e-fold: a noise of a student's own beyond it has no weight, and must not overflow
STILL = 0.05  # of a usual slope and wandering: what is left of them in a student who holds


@dataclass(frozen=True)
class Cell:
    """One metric and club family of one season, students one after another, each by time.

    offsets (S + 1,); t (N,) 30-day months since the student's first session; y (N,); error (N,) known error
    variance of each value (s²/n); x (N, p) fixed columns, the first two 1 and t; noise (S,) ℓ_i.
    """

    offsets: COUNTS
    t: FLOATS
    y: FLOATS
    error: FLOATS
    x: FLOATS
    noise: FLOATS = field(default_factory=lambda: np.zeros(0))

    @property
    def owner(self) -> NDArray[np.intp]:
        """(N,) which student each row belongs to."""
        return np.repeat(np.arange(self.offsets.size - 1), np.diff(self.offsets))

    @property
    def own_noise(self) -> FLOATS:
        """(S,) ℓ_i, 0 where all noise is alike."""
        return self.noise if self.noise.size else np.zeros(self.offsets.size - 1)

    def only(self, kept: NDArray[np.bool_]) -> "Cell":
        """The same cell with some of its rows (N,) only, and the students who have any of them."""
        counts = np.bincount(self.owner[kept], minlength=self.offsets.size - 1)
        there = counts > 0
        offsets = np.concatenate([[0], np.cumsum(counts[there])]).astype(np.int64)
        noise = self.noise[there] if self.noise.size else self.noise
        return Cell(offsets, self.t[kept], self.y[kept], self.error[kept], self.x[kept], noise)


@dataclass(frozen=True)
class Scales:
    """What the priors are measured in: residual sd about own lines, median span, twice the sd of means."""

    residual: float
    span: float
    level: float


@dataclass(frozen=True)
class Posterior:
    """Draws of the variance parts (D, PARTS) in the data's units, equal in weight, with γ̂ and its covariance.

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
    """(D, PARTS) log sd_a, log sd_b, atanh ρ, log sd_session, log τ in their scales, κ, log ω, λ, μ → parts.

    With five columns all students are alike: κ = ω = λ = μ = 0.
    """
    parts = np.zeros((len(phi), PARTS))
    parts[:, : phi.shape[1]] = np.exp(phi)
    if phi.shape[1] > 5:
        parts[:, EXPONENTS] = phi[:, EXPONENTS]
    parts[:, 0] *= by.level
    parts[:, 1] *= by.residual / by.span
    parts[:, RHO] = np.tanh(phi[:, RHO])
    parts[:, 3] *= by.residual
    parts[:, 4] *= by.residual / np.sqrt(by.span)
    return parts


def likelihood(cell: Cell, parts: FLOATS) -> tuple[FLOATS, FLOATS, FLOATS]:
    """`kernel.restricted` for this cell: (D,) log likelihoods, (D, p) γ̂, (D, p, p) covariances.

    parts (D, PARTS); columns left out are 0.
    """
    p, n = cell.x.shape[1], cell.y.size
    full = np.zeros((len(parts), PARTS))
    full[:, : parts.shape[1]] = parts
    if full[:, 6].any():
        sums, heights = moments(cell, at_nodes(full), cell.offsets[1:] - 1)
        sums, heights = (a.reshape(len(parts), NODES.size, *a.shape[1:]) for a in (sums, heights))
        return kernel.restricted(sums, heights, WEIGHTS, p, n, SETTLED)
    sums, heights = moments(cell, full, np.array([n - 1]), apart=False)
    return kernel.restricted(sums[:, None], heights[:, None], np.ones(1), p, n, 1)


def at_nodes(parts: FLOATS) -> FLOATS:
    """(D, PARTS) → (D·NODES, PARTS): each row at every node, its τ, and the shift ω·z in the place of ω."""
    rows = np.repeat(parts, NODES.size, axis=0)
    rows[:, 6] = np.clip(rows[:, 6] * np.tile(NODES, len(parts)), -FARTHEST, FARTHEST)
    rows[:, 4] *= np.exp(rows[:, 6])
    return rows


def moments(cell: Cell, rows: FLOATS, upto: COUNTS, *, apart: bool = True) -> tuple[FLOATS, FLOATS]:
    """`kernel.moments` of this cell."""
    return kernel.moments(
        np.ascontiguousarray(rows), cell.own_noise, cell.offsets, cell.t, cell.y, cell.error, cell.x,
        np.asarray(upto, dtype=np.int64), int(apart),
    )  # fmt: skip


def integrate(cell: Cell, by: Scales, draws: int = DRAWS, kept: int = KEPT_DRAWS) -> Posterior | None:
    """Posterior of the variance parts; None when the fixed effects are not identified.

    `draws` draws about the mode, cut down to `kept` of equal weight; in a large academy the mode alone,
    looked for in an even sample of ENOUGH students or more: memory does not grow with the academy.
    """
    step, few = (cell.offsets.size - 1) // ENOUGH, cell
    if step > 1:
        few = cell.only(cell.owner % step == 0)
        apart = np.abs(np.diagonal(np.linalg.qr(few.x, mode="r"))) > 1e-9 * np.linalg.norm(cell.x, axis=0)
        few = replace(few, x=np.ascontiguousarray(few.x[:, apart]))  # a rare device may not be among them
    log_density, start = partial(_log_density, few, by), _first_guess(few, by)
    mode, hessian, top = maximise(log_density, start, tolerance=LOOSE)
    if not np.isfinite(top):
        return None
    if cell.offsets.size - 1 >= MODE_ONLY_FROM:
        return posterior_given(cell, natural(mode[None], by), 1.0)
    phi, weight = importance_draws(log_density, mode, hessian, draws)
    parts = natural(phi[resampled(phi, weight, kept)], by)
    return posterior_given(cell, parts, float(1 / np.sum(weight**2)))


def _log_density(cell: Cell, by: Scales, phi: FLOATS) -> FLOATS:
    return np.asarray(likelihood(cell, natural(phi, by))[0] + log_prior(phi))


def _first_guess(cell: Cell, by: Scales) -> FLOATS:
    """Where to start: the mode with all noise alike."""
    if not cell.noise.size:
        return START[:5]
    alike = maximise(partial(_log_density, cell, by), START[:5], tolerance=LOOSE)[0]
    return np.concatenate([alike, START[5:]])


def posterior_given(cell: Cell, parts: FLOATS, effective: float = 1.0) -> Posterior:
    """The posterior when these draws of the variance parts are taken as they are."""
    _, gammas, covs = likelihood(cell, parts)
    return Posterior(np.pad(parts, ((0, 0), (0, PARTS - parts.shape[1]))), gammas, covs, effective)


@dataclass(frozen=True)
class Ends:
    """Where G lines start and how far they moved, as R normal distributions with weights; (R, G) each.

    Weights of a line add up to 1.
    """

    start: FLOATS
    change: FLOATS
    var_start: FLOATS
    var_change: FLOATS
    cov: FLOATS
    weight: FLOATS

    @property
    def sd_change(self) -> FLOATS:
        """Standard deviation of each change."""
        return np.sqrt(np.maximum(self.var_change, 1e-300))

    def mean(self, values: FLOATS) -> FLOATS:
        """Weighted mean over all axes but the last, line by line.

        Each line's numbers are summed by themselves, so that the answer is the same to the last bit whoever
        else is asked about.
        """
        return mean_over_draws(values * self.weight) * len(self.weight)


def mean_over_draws(values: FLOATS) -> FLOATS:
    """Mean over all axes but the last, each line's numbers by themselves."""
    flat = np.ascontiguousarray(values.reshape(-1, values.shape[-1]).T, dtype=np.float64)
    return np.asarray(flat.mean(axis=1))


def line_ends(cell: Cell, posterior: Posterior, upto: COUNTS, holders: float = 0.0) -> Ends:
    """Start and change of each student's line as known from their sessions up to the rows `upto` (G,).

    `holders` is the share of students who hold: their slope, their wandering and the academy's mean slope are
    STILL of what they are in others, and how likely it is that a student is one is in the weights.
    """
    kinds = _ends(cell, posterior, upto, holders=holders > 0)
    log = kinds[0]
    if holders > 0:
        log = log + np.log([1.0 - holders, holders])[:, None, None]
    each = np.ascontiguousarray(np.moveaxis(log, -1, 0)).reshape(upto.size, len(log), -1)  # line by line
    weight = np.exp(each - each.max(axis=2, keepdims=True))
    weight /= weight.sum(axis=2, keepdims=True) * len(log)
    start, change, var_start, var_change, cov = kinds[1:].reshape(5, -1, upto.size)
    return Ends(start, change, var_start, var_change, cov, weight.reshape(upto.size, -1).T)


def holding_odds(cell: Cell, posterior: Posterior, upto: COUNTS) -> FLOATS:
    """(D, G) log of how many times likelier each student's sessions are if the student holds."""
    log = np.logaddexp.reduce(_ends(cell, posterior, upto, holders=True)[0], axis=2)
    return np.asarray(log[:, 1] - log[:, 0])


def _ends(cell: Cell, posterior: Posterior, upto: COUNTS, *, holders: bool) -> FLOATS:
    """`kernel.ends` (6, D, 1 or 2, K, G) for those who move and, if asked, those who hold, at K nodes."""
    who = cell.owner[upto]
    fixed = cell.x[upto].copy()
    fixed[:, 1] = 0.0
    draws = len(posterior.parts)
    found = []
    for left in (1.0, STILL)[: 1 + holders]:
        rows, gammas, covs = (part.copy() for part in parts_at_nodes(posterior))
        rows[:, [1, 4]] *= left
        gammas[:, 1] *= left
        covs[:, 1] *= left
        covs[:, :, 1] *= left
        sums = moments(cell, rows, upto)
        own = kernel.ends(
            rows, gammas, covs, *sums, cell.own_noise[who], cell.t[upto] - cell.t[cell.offsets[who]], fixed
        )
        nodes = len(rows) // draws
        own = own.reshape(6, draws, nodes, -1)
        if nodes > 1:
            own[0] += np.log(WEIGHTS)[:, None]
        found.append(own)
    return np.stack(found, axis=2)


def parts_at_nodes(posterior: Posterior) -> tuple[FLOATS, FLOATS, FLOATS]:
    """Parts, γ̂ and covariance at every node; as they are where all students' noise is alike."""
    if not posterior.parts[:, 6].any():
        return posterior.parts, posterior.gammas, posterior.covs
    gammas, covs = (np.repeat(part, NODES.size, axis=0) for part in (posterior.gammas, posterior.covs))
    return at_nodes(posterior.parts), gammas, covs


def lines(cell: Cell, posterior: Posterior, grid: FLOATS, grid_x: FLOATS) -> tuple[FLOATS, FLOATS]:
    """Each student's line at the months `grid` (S, K), where the fixed columns are `grid_x` (S, K, p).

    Returns its mean (R, S, K) and variance (R, S, K), R draws at every node as the rows of `line_ends`
    without holders: `line_kernel.lines`.
    """
    return line_kernel.lines(
        *parts_at_nodes(posterior), cell.own_noise, cell.offsets, cell.t, cell.y, cell.error, cell.x,
        np.ascontiguousarray(grid), np.ascontiguousarray(grid_x),
    )  # fmt: skip
