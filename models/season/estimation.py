"""Statistics that several answers share: proportions, pooled estimates, and false discoveries.

Wilson's interval, intraclass correlation, beta priors and posteriors; errors correlated within clusters, and
the jackknife; random-effects pooling after DerSimonian & Laird; the false discovery rate of Benjamini &
Hochberg; bounds of planned looks (Lan & DeMets).
"""

from collections.abc import Callable
from functools import cache

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from models.season.kernel import FLOATS

Z90 = 1.6448536269514722  # 95th percentile of the normal: a two-sided 90 % interval
NODES, WEIGHTS = np.polynomial.legendre.leggauss(32)
FINE, FINE_WEIGHTS = np.polynomial.legendre.leggauss(160)
UNIFORM = (0.5, 2.0)  # mean and strength of the beta prior under which every rate is alike (Laplace's)


def wilson(flagged: ArrayLike, n: ArrayLike, z: float = Z90) -> tuple[FLOATS, FLOATS]:
    """Wilson's score interval of a proportion.

    (p + z²/2n ± z√(p(1 − p)/n + z²/4n²)) / (1 + z²/n), p = flagged / n. Counts may be fractional (an
    effective n). NaN where n is 0. Source: Wilson 1927, method 3 of Newcombe 1998 (Stat Med 17).
    """
    count, size = np.asarray(flagged, dtype=float), np.asarray(n, dtype=float)
    size = np.where(size > 0, size, np.nan)
    rate = count / size
    centre = rate + z**2 / (2 * size)
    half = z * np.sqrt(rate * (1 - rate) / size + z**2 / (4 * size**2))
    scale = 1 + z**2 / size
    return np.clip((centre - half) / scale, 0, 1), np.clip((centre + half) / scale, 0, 1)


def intraclass(ss_between: float, ss_within: float, df_between: float, df_within: float, n0: float) -> float:
    """Intraclass correlation from the one-way analysis of variance, floored at 0.

    ρ = (MSB − MSW) / (MSB + (n₀ − 1)·MSW). 0 when there is nothing to compare or nothing varies.
    Source: Shrout & Fleiss 1979, ICC(1,1); n₀ for unequal groups as Donner 1986.
    """
    if df_between <= 0 or df_within <= 0 or n0 <= 0:
        return 0.0
    between, within = ss_between / df_between, ss_within / df_within
    total = between + (n0 - 1) * within
    return float(np.clip((between - within) / total, 0.0, 1.0)) if total > 0 else 0.0


def fit_beta(flagged: FLOATS, n: FLOATS) -> tuple[float, float]:
    """Mean and strength of the beta prior of the students' rates, from their (effective) counts.

    Mode of the beta-binomial likelihood with mean ~ uniform and log strength ~ N(log 4, 1.5²): the second
    keeps few students, or rates all alike, from making an endless strength. Needs at least one n > 0.
    """
    y, size = flagged[n > 0], n[n > 0]
    if y.size == 0:
        return UNIFORM

    def loss(at: FLOATS) -> tuple[float, FLOATS]:
        mean, strength = special.expit(at[0]), np.exp(at[1])
        a, b = mean * strength, (1 - mean) * strength
        pull = (at[1] - np.log(4.0)) / 1.5
        value = np.sum(special.betaln(y + a, size - y + b) - special.betaln(a, b))
        value += np.log(mean) + np.log1p(-mean) - 0.5 * pull**2
        shared = special.digamma(strength) - special.digamma(size + strength)
        by_a = np.sum(special.digamma(y + a) - special.digamma(a) + shared)
        by_b = np.sum(special.digamma(size - y + b) - special.digamma(b) + shared)
        slope = np.array(
            [(by_a - by_b) * strength * mean * (1 - mean) + 1 - 2 * mean, by_a * a + by_b * b - pull / 1.5]
        )
        return -float(value), -slope

    start = np.array([special.logit((y.sum() + 1) / (size.sum() + 2)), np.log(4.0)])
    found = optimize.minimize(loss, start, jac=True, method="L-BFGS-B", bounds=[(-7, 7), (-2, 6)])
    return float(special.expit(found.x[0])), float(np.exp(found.x[1]))


def p_first_lower(a1: FLOATS, b1: FLOATS, a2: FLOATS, b2: FLOATS, by: float = 0.0) -> FLOATS:
    """P(X < Y − by) for X ~ Beta(a1, b1), Y ~ Beta(a2, b2), each (K,): Gauss–Legendre over Y's quantiles."""
    at = np.maximum(special.betaincinv(a2[:, None], b2[:, None], (NODES[None, :] + 1) / 2) - by, 0.0)
    return np.asarray(special.betainc(a1[:, None], b1[:, None], at) @ (WEIGHTS / 2))


def mixture_share(log_odds: FLOATS, usually: float, worth: float) -> float:
    """Share of cases that are of one kind of two, by expectation and maximisation.

    `log_odds` (N,): log of how much likelier each case is if it is of that kind. The usual share is worth so
    many cases.
    """
    share = usually
    for _ in range(40):
        found = special.expit(log_odds + special.logit(share)).sum()
        share = float((found + worth * usually) / (log_odds.size + worth))
    return share


def clustered(x: FLOATS, y: FLOATS, owner: NDArray[np.intp]) -> tuple[FLOATS, FLOATS]:
    """Least squares (p,) and its covariance, errors correlated within an owner; x (N, p), y (N,), owner (N,).

    (XᵀX)⁻¹·Σ_g XᵍᵀuᵍuᵍᵀXᵍ·(XᵀX)⁻¹ with the correction G/(G − 1) · (N − 1)/(N − p). Source: Liang & Zeger
    1986; the correction as in Petersen 2009, Rev Financ Stud 22.
    """
    n, p = x.shape
    bread = np.linalg.inv(x.T @ x)
    gamma = bread @ (x.T @ y)
    scores = np.zeros((int(owner.max()) + 1, p))
    np.add.at(scores, owner, x * (y - x @ gamma)[:, None])
    groups = np.unique(owner).size
    scale = groups / max(groups - 1, 1) * (n - 1) / max(n - p, 1)
    each = scores @ bread  # squares of these are never negative, as rounding of the product of three may be
    return gamma, scale * each.T @ each


def jackknife_variance(left_out: FLOATS) -> float:
    """(n − 1)/n · Σ(θ̂ without i − their mean)² of n estimates (n,), each made without one of n students."""
    return float((left_out.size - 1) / left_out.size * np.sum((left_out - left_out.mean()) ** 2))


def meta_regression(effect: FLOATS, se: FLOATS, x: FLOATS) -> tuple[FLOATS, FLOATS, float, float]:
    """Effects (K,) with known standard errors as x·γ, x (K, p): γ̂ (p,), its covariance, τ² and Q.

    τ² = max(0, (Q − (K − p)) / (Σw − tr((XᵀWX)⁻¹XᵀW²X))), 0 with K ≤ p; Q is about the line of weights
    w = 1/se², γ̂ of weights 1/(se² + τ²). Source: Thompson & Sharp 1999, Stat Med 18; with x = 1 it is the
    pooled mean of DerSimonian & Laird 1986, Control Clin Trials 7.
    """

    def line(w: FLOATS) -> tuple[FLOATS, FLOATS]:
        covariance = np.asarray(np.linalg.inv(x.T * w @ x), dtype=np.float64)
        return covariance @ (x.T @ (w * effect)), covariance

    w = 1 / se**2
    fixed, covariance = line(w)
    q = float(np.sum(w * (effect - x @ fixed) ** 2))
    room = float(np.sum(w) - np.trace(covariance @ (x.T * w**2 @ x)))
    spare = effect.size - x.shape[1]
    tau2 = max(0.0, (q - spare) / room) if spare > 0 and room > 0 else 0.0
    return *line(1 / (se**2 + tau2)), tau2, q


def shrink_to_mean(effect: FLOATS, se: FLOATS) -> tuple[FLOATS, FLOATS]:
    """Each effect shrunk toward the mean of all by τ²/(τ² + se²), and its standard error; (K,) each.

    The uncertainty of the mean is included: var = B·se² + (1 − B)²·se_mean², B = τ²/(τ² + se²). With
    τ² = 0 every effect is the mean.
    """
    (mean,), ((variance,),), tau2, _ = meta_regression(effect, se, np.ones((effect.size, 1)))
    mean_se = variance**0.5
    own = tau2 / (tau2 + se**2)
    return mean + own * (effect - mean), np.sqrt(own * se**2 + (1 - own) ** 2 * mean_se**2)


@cache
def spending_bounds(
    information: tuple[float, ...], alpha: float = 0.05, time: tuple[float, ...] | None = None
) -> tuple[float, ...]:
    """Two-sided bounds of |z| at looks at these shares of the information, which share one error `alpha`.

    Each side has spent 2·Φ(z_{α/4} / √t) by share t, O'Brien-Fleming's way; t is a share of the information,
    or of `time` where that is given. The path of z·√information that has crossed no bound yet is carried from
    look to look by Gauss-Legendre. Source: Lan & DeMets 1983, Biometrika 70; by time, 1989, Stat Med 8.
    """
    bounds: list[float] = []
    before, spent = 0.0, 0.0
    at, weight = np.zeros(1), np.ones(1)  # where the path may be, and how likely it is there
    for share, when in zip(information, time or information, strict=True):
        until = float(4 * special.ndtr(special.ndtri(alpha / 4) / np.sqrt(when)))
        step = float(np.sqrt(share - before))
        edge = float(optimize.brentq(_crossing, 0.0, 12.0, (at, weight, step, until - spent)))
        bounds.append(edge / float(np.sqrt(share)))
        to = edge * FINE
        density = np.exp(-0.5 * ((to[:, None] - at) / step) ** 2) / (step * np.sqrt(2 * np.pi))
        at, weight = to, edge * FINE_WEIGHTS * (density @ weight)
        before, spent = share, until
    return tuple(bounds)


def _crossing(edge: float, at: FLOATS, weight: FLOATS, step: float, allowed: float) -> float:
    """By how much the chance of crossing ± edge from `at` in one step is over what is allowed."""
    beyond = special.ndtr((at - edge) / step) + special.ndtr((-edge - at) / step)
    return float(weight @ beyond) - allowed


def false_discovery(p: FLOATS) -> FLOATS:
    """The q of each two-sided p, NaN where p is NaN. Source: Benjamini & Hochberg 1995, J R Stat Soc B 57."""
    q = np.full(p.shape, np.nan)
    known = np.flatnonzero(np.isfinite(p))
    falling = known[np.argsort(p[known])[::-1]]
    rank = np.arange(known.size, 0, -1)
    q[falling] = np.minimum.accumulate(np.minimum(p[falling] * known.size / rank, 1.0))
    return q


def holm(p: FLOATS) -> FLOATS:
    """Each p after Holm's step down: the k-th smallest of m by m − k + 1, then never falling, up to 1.

    NaN where p is NaN, which does not count. Source: Holm 1979, Scand J Stat 6.
    """
    adjusted = np.full(p.shape, np.nan)
    known = np.flatnonzero(np.isfinite(p))
    smallest_first = known[np.argsort(p[known])]
    left = np.arange(known.size, 0, -1)
    adjusted[smallest_first] = np.minimum(np.maximum.accumulate(p[smallest_first] * left), 1.0)
    return adjusted


def q_of_p(by: Callable[[FLOATS], FLOATS] = false_discovery) -> pl.Expr:
    """The column p adjusted, NaN where p is NaN or null; to be taken `over` what belongs together."""
    return (
        pl.col("p").cast(pl.Float64).fill_null(np.nan)
        .map_batches(lambda p: pl.Series(by(p.to_numpy())), return_dtype=pl.Float64)
    )  # fmt: skip
