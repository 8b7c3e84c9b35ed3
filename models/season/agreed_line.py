"""A line since an agreed day, for one metric or several together, each in its smallest worthwhile changes.

Since that day (t = 0, in months) the student's line is

    y_j = a + β·max(t_j, 0) + b·min(t_j, 0) + W(t_j) + e_j

with a and β unknown, W wandering from 0 both ways in time, and e_j the error of a session. b takes up how the
student changed before the agreed day: whoever had improved by then has not improved since. What is known of b
beforehand is how the other students changed before their own agreed day.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.season.estimation import meta_regression
from models.season.kernel import COUNTS, FLOATS
from models.season.mixed import Cell, Posterior, line_ends, parts_at_nodes

LEAST_FREEDOM = 20  # degrees of freedom of other students' residuals; with fewer, metrics err as one
NEVER = 1e12  # precision of a slope that is 0
SHRINK = 0.3  # of the residual correlations to their mean


@dataclass(frozen=True)
class Before:
    """How K other students changed before their agreed day, each by a straight line of their own.

    months (K,) from first visit to last; change (K, M) over these, in the units of the course; error (M, M)
    covariance of a session's errors; doubt (K,) that of a change is so many times it.
    """

    months: FLOATS
    change: FLOATS
    doubt: FLOATS
    error: FLOATS

    def slope(self, weights: FLOATS, months: float) -> tuple[float, float]:
        """Mean a month, and its precision, of how one who came for so many months changed before.

        Others' changes are a + c·months and differ by τ²: some change by as much in one month as others in
        four, some by as much every month.
        """
        se = np.sqrt(self.doubt * (weights @ self.error @ weights))
        x = np.column_stack([np.ones(se.size), self.months])
        mean, covariance, tau2, _ = meta_regression(self.change @ weights, se, x)
        at = np.array([1.0, months])
        return float(at @ mean) / months, months**2 / float(tau2 + at @ covariance @ at)


@dataclass(frozen=True)
class Course:
    """One student's sessions in all M metrics: t (n,) months since the agreed day.

    The rest is in smallest worthwhile changes: y and sd (n, M) values and their errors' standard deviations;
    walk (M,) standard deviation a √month; device (M, n, n) covariance from what is not known of devices'
    offsets; r (M, M) correlations of errors; others what is known of changes before, None: nothing.
    """

    t: FLOATS
    y: FLOATS
    sd: FLOATS
    walk: FLOATS
    device: FLOATS
    r: FLOATS
    others: Before | None = None

    def upto(self, t: float) -> "Course":
        """What was known by then."""
        n = int(np.searchsorted(self.t, t, side="right"))
        return replace(self, t=self.t[:n], y=self.y[:n], sd=self.sd[:n], device=self.device[:, :n, :n])

    def change(self, weights: FLOATS) -> tuple[float, float]:
        """Change of the weighted metrics from the agreed day to the last session, and its standard error."""
        mean, precision = self.slope_before(weights)
        v, walk = self.covariance(weights), self.wandering(weights)
        gain, se = best_change(self.t, v, walk, float(self.t[-1]), precision)
        return float(gain @ (self.y @ weights - mean * np.minimum(self.t, 0.0))), float(se)

    def foreseen(self, weights: FLOATS, known: int) -> tuple[float, FLOATS, FLOATS]:
        """By the first `known` sessions: the value half-way through the change, and the mean of the others.

        The latter's expectation and standard error are (2,): as the line goes on, and with β = 0.
        """
        mean, precision = self.slope_before(weights)
        v, walk, fall = self.covariance(weights), self.wandering(weights), np.minimum(self.t, 0.0)
        x, y = np.column_stack([np.ones(fall.size), self.t - fall, fall]), self.y @ weights - mean * fall
        t, before, inside = self.t[:known], x[:known], v[:known, :known]
        level, _ = best_prediction(
            before, inside, np.zeros((known, 1)), np.eye(3)[:1].T, 0.0, np.diag([0.0, 0.0, precision])
        )
        half_way = level + best_change(t, inside, walk, float(t[-1]), precision)[0] / 2
        shared, at, own = v[:known, known:].mean(axis=1), x[known:].mean(axis=0), v[known:, known:].mean()
        later = [
            best_prediction(
                before, inside, shared[:, None], at[:, None], own, np.diag([0.0, rising, precision])
            )
            for rising in (0.0, NEVER)
        ]
        expected = np.array([each @ y[:known] for each, _ in later])
        return float(half_way @ y[:known]), expected, np.array([float(se) for _, se in later])

    def slope_before(self, weights: FLOATS) -> tuple[float, float]:
        """What others' changes let expect of b, and its precision: 0 where there is nothing to go by.

        That others were slipping is expected of nobody: who was not would seem to improve by staying so.
        """
        came = self.t[self.t <= 0]
        months = float(np.ptp(came)) if came.size else 0.0
        if not self.others or months <= 0:
            return 0.0, 0.0
        mean, precision = self.others.slope(weights, months)
        return max(mean, 0.0), precision

    def wandering(self, weights: FLOATS) -> float:
        """Variance a month of the weighted metrics' wandering."""
        return float((weights * self.walk) @ self.r @ (weights * self.walk))

    def covariance(self, weights: FLOATS) -> FLOATS:
        """(n, n) of the weighted metrics about their line."""
        # What is not known of offsets may go one way in all kindred metrics, which is the most it can do.
        return (
            wandering_covariance(self.t, self.wandering(weights))
            + np.diag(self.errors(weights))
            + np.tensordot(weights, self.device, 1)
        )

    def errors(self, weights: FLOATS) -> FLOATS:
        """(n,) variances of the sessions' errors of the weighted metrics."""
        each = self.sd * weights
        return np.asarray(np.einsum("jm,mk,jk->j", each, self.r, each))


def wandering_covariance(t: FLOATS, walk: float | FLOATS) -> FLOATS:
    """(..., n, n) covariance of a random walk away from 0 at t = 0, both ways, of variance `walk` a month."""
    one_side = np.sign(t)[:, None] * np.sign(t) > 0
    return np.multiply.outer(walk, np.where(one_side, np.minimum(np.abs(t)[:, None], np.abs(t)), 0.0))


def best_change(
    t: FLOATS, v: FLOATS, walk: float | FLOATS, at: float, precision: float = 0.0
) -> tuple[FLOATS, FLOATS]:
    """Best linear prediction of the change by month `at` > 0: sessions' weights, standard error.

    The slope before is N(0, 1/precision). X = (1, max(t, 0), min(t, 0)), P = diag(0, 0, precision),
    k = walk·min(max(t, 0), at), h = (0, at, 0) − XᵀV⁻¹k: weights V⁻¹k + V⁻¹X(XᵀV⁻¹X + P)⁻¹h, variance
    walk·at − kᵀV⁻¹k + hᵀ(XᵀV⁻¹X + P)⁻¹h. Source: Goldberger 1962, J Am Stat Assoc 57; with P Henderson
    1975, Biometrics 31.
    `v` (..., n, n) and `walk` (...): of several at once.
    """
    u = np.maximum(t, 0.0)
    x = np.column_stack([np.ones(t.size), u, t - u])
    k = np.multiply.outer(walk, np.minimum(u, at))[..., None]
    prior, target = np.diag([0.0, 0.0, precision]), np.array([[0.0], [at], [0.0]])
    return best_prediction(x, v, k, target, np.multiply(walk, at), prior)


def best_prediction(
    x: FLOATS, v: FLOATS, k: FLOATS, target: FLOATS, own: float | FLOATS, prior: FLOATS
) -> tuple[FLOATS, FLOATS]:
    """Weights (..., n) of values N(Xγ, V) for what is N(target·γ, own) and covaries by k; standard error.

    x (n, p), v (..., n, n), k (..., n, 1), target (p, 1), own (...); `prior` (p, p): precision of γ about 0.
    """
    solved = np.linalg.solve(v, np.concatenate([np.broadcast_to(x, (*k.shape[:-2], *x.shape)), k], axis=-1))
    vx, vk = solved[..., :-1], solved[..., -1:]
    h = target - x.T @ vk
    gh = np.linalg.solve(x.T @ vx + prior, h)
    variance = own - np.sum(k * vk, axis=(-2, -1)) + np.sum(h * gh, axis=(-2, -1))
    return (vk + vx @ gh)[..., 0], np.sqrt(np.maximum(variance, 1e-300))


def kindred_weights(covariance: FLOATS) -> FLOATS:
    """(M,) weights ∝ Σ⁻¹1, of sum 1, that see a common change best; none negative: those are left out."""
    kept = np.arange(len(covariance))
    while True:
        found = np.linalg.solve(covariance[np.ix_(kept, kept)], np.ones(kept.size))
        if (found > 0).all() or kept.size == 1:
            break
        kept = kept[found > 0]
    weights = np.zeros(len(covariance))
    weights[kept] = found / found.sum()
    return weights


def shared_errors(squares: FLOATS, freedom: float) -> tuple[FLOATS, FLOATS]:
    """(M, M) correlations and covariance of errors, from residuals' cross products.

    Correlations are drawn 30 % toward their mean. With too few degrees of freedom, or a metric that never
    varies: all correlations 1 and equal variances.
    """
    many, sizes = len(squares), np.diag(squares)
    if freedom < LEAST_FREEDOM or not (sizes > 0).all():
        return np.ones((many, many)), np.eye(many)
    sd = np.sqrt(sizes / freedom)
    found = squares / freedom / np.outer(sd, sd)
    mean = float((found.sum() - many) / max(many * (many - 1), 1))
    r = (1 - SHRINK) * found + SHRINK * mean
    np.fill_diagonal(r, 1.0)
    return r, r * np.outer(sd, sd)


def forecast(
    t: FLOATS, errors: FLOATS, walk: float | FLOATS, gap: float, looks: Sequence[int]
) -> tuple[FLOATS, FLOATS]:
    """Months (K,) of sessions to come, one every `gap` months; the change's standard errors (K, ...) then.

    `t` (n,), `errors` (..., n) and `walk` (...): the sessions so far, their errors' variances and that of the
    wandering a month. `looks` (K,): at which of those to come it is looked, from 1, rising. They err as the
    median one so far did. What others' changes before tell is left out, so that a
    change shows no later than is said.
    """
    count = looks[-1] if looks else 0
    whole = np.concatenate([t, np.arange(1.0, count + 1) * gap])
    later = np.repeat(np.median(errors, axis=-1)[..., None], count, axis=-1)
    v = wandering_covariance(whole, walk)
    each = np.arange(whole.size)
    v[..., each, each] += np.concatenate([errors, later], axis=-1)
    ends = [t.size + look for look in looks]
    se = [best_change(whole[:end], v[..., :end, :end], walk, whole[end - 1])[1] for end in ends]
    return whole[[end - 1 for end in ends]], np.array(se)


def own_variances(cell: Cell, posterior: Posterior) -> FLOATS:
    """(2, S) what is known of each student by all their sessions: the means of σ²_i and of wandering²."""
    last = cell.offsets[1:] - 1
    squares = session_variances(cell, posterior, last), parts_at_nodes(posterior)[0][:, 4, None] ** 2
    weight = line_ends(cell, posterior, last).weight
    return np.stack([np.sum(weight * square, axis=0) for square in squares])


def session_variances(cell: Cell, posterior: Posterior, upto: COUNTS) -> FLOATS:
    """(R, G) σ²_i of the students of the rows `upto` in each draw, at every node."""
    rows = parts_at_nodes(posterior)[0]
    return np.asarray(
        rows[:, 3, None] ** 2
        * np.exp(2 * (rows[:, 5, None] * cell.own_noise[cell.owner[upto]] + rows[:, 6, None]))
    )
