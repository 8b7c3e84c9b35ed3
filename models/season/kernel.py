"""The compiled part of the mixed model (mixed.py): likelihood of the variance parts, and lines given them.

y_ij = x_ij·γ + a_i + b_i·t_ij + W_i(t_ij) + e_ij, (a_i, b_i) ~ N(0, G), W_i a Brownian path that starts at 0
at student i's first session, e_ij ~ N(0, sd_session² + error_ij). Variance parts come as rows of
(sd_a, sd_b, rho, sd_session, tau). Students come one after another, rows offsets[i]:offsets[i + 1], by time.
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing.compiled import compiled

FLOATS = NDArray[np.float64]
COUNTS = NDArray[np.int64]
LANES = 32  # rows of variance parts worked on together, at most
LANE_STEP = 8  # lanes are a multiple of this, as many as the processor takes at once
PER_LOG = 8  # sessions whose variances are multiplied before one logarithm is taken


@compiled
def solve_normal(a: FLOATS, p: int, gamma: FLOATS, cov: FLOATS) -> tuple[float, float]:
    """From A = [X y]ᵀV⁻¹[X y], (p + 1, p + 1): γ̂ and its covariance in place.

    Returns log|XᵀV⁻¹X| and the residual form r'V⁻¹r; NaN for both when XᵀV⁻¹X is not positive definite.
    """
    low = np.zeros((p, p))
    logdet = 0.0
    for i in range(p):
        for j in range(i + 1):
            s = a[i, j]
            for k in range(j):
                s -= low[i, k] * low[j, k]
            if i == j:
                if not s > 1e-12 * a[i, i]:
                    return math.nan, math.nan
                low[i, i] = math.sqrt(s)
                logdet += math.log(s)
            else:
                low[i, j] = s / low[j, j]
    inverse = np.zeros((p, p))
    for c in range(p):
        for i in range(c, p):
            s = 1.0 if i == c else 0.0
            for k in range(c, i):
                s -= low[i, k] * inverse[k, c]
            inverse[i, c] = s / low[i, i]
    form = a[p, p]
    for i in range(p):
        for j in range(p):
            s = 0.0
            for k in range(max(i, j), p):
                s += inverse[k, i] * inverse[k, j]
            cov[i, j] = s
    for i in range(p):
        s = 0.0
        for j in range(p):
            s += cov[i, j] * a[p, j]
        gamma[i] = s
        form -= s * a[p, i]
    return logdet, form


@compiled
def _gain(
    prior: FLOATS, spread: FLOATS, at: float, step: float, error: float, gain: FLOATS, product: FLOATS,
    lanes: int,
) -> None:  # fmt: skip
    """One session, all lanes: the filter's gain and 1 / variance, its spread after, the variances' product.

    Lane after lane within each quantity: prior (sd_a², cov, sd_b², sd_e², τ²), spread (aa, ab, aW, bb, bW,
    WW), gain (a, b, W, 1 / variance).
    """
    for d in range(lanes):
        p00, p01, p02 = spread[d], spread[LANES + d], spread[2 * LANES + d]
        p11, p12 = spread[3 * LANES + d], spread[4 * LANES + d]
        p22 = spread[5 * LANES + d] + prior[4 * LANES + d] * step
        c0, c1, c2 = p00 + at * p01 + p02, p01 + at * p11 + p12, p02 + at * p12 + p22
        s = c0 + at * c1 + c2 + prior[3 * LANES + d] + error
        product[d] = product[d] * s if s > 0.0 else math.nan
        per_s = 1.0 / s
        k0, k1, k2 = c0 * per_s, c1 * per_s, c2 * per_s
        gain[d], gain[LANES + d], gain[2 * LANES + d], gain[3 * LANES + d] = k0, k1, k2, per_s
        spread[d], spread[LANES + d], spread[2 * LANES + d] = p00 - k0 * c0, p01 - k0 * c1, p02 - k0 * c2
        spread[3 * LANES + d], spread[4 * LANES + d] = p11 - k1 * c1, p12 - k1 * c2
        spread[5 * LANES + d] = p22 - k2 * c2


@compiled
def _innovate(
    value: float, at: float, gain: FLOATS, mean: FLOATS, fresh: FLOATS, column: int, lanes: int
) -> None:
    """One value, all lanes: its innovation (value less the filter's mean) into `fresh`; updates the mean."""
    m = mean[3 * LANES * column : 3 * LANES * (column + 1)]
    new = fresh[LANES * column : LANES * (column + 1)]
    for d in range(lanes):
        v = value - m[d] - at * m[LANES + d] - m[2 * LANES + d]
        m[d] += gain[d] * v
        m[LANES + d] += gain[LANES + d] * v
        m[2 * LANES + d] += gain[2 * LANES + d] * v
        new[d] = v


@compiled
def _cross(fresh: FLOATS, gain: FLOATS, sums: FLOATS, one: int, other: int, place: int, lanes: int) -> None:
    """Add the whitened product of two columns' innovations, all lanes."""
    u, v = fresh[LANES * one : LANES * (one + 1)], fresh[LANES * other : LANES * (other + 1)]
    total = sums[LANES * place : LANES * (place + 1)]
    for d in range(lanes):
        total[d] += u[d] * gain[3 * LANES + d] * v[d]


@compiled
def restricted(
    parts: FLOATS, offsets: COUNTS, t: FLOATS, y: FLOATS, error: FLOATS, x: FLOATS
) -> tuple[FLOATS, FLOATS, FLOATS]:
    """Restricted log likelihood of each row of variance parts, with γ̂ and its covariance.

    A Kalman filter over (a, b, W) a student, run on y and on every column of X at once, gives the whitened
    innovations; their cross products give the generalised least-squares fit (de Jong 1991, Biometrika 78).
    LANES rows of parts go through the data together, so that the processor works on several at once.

    Shapes: parts (D, 5), offsets (S + 1,), t (months), y and error (known error variance) (N,), x (N, p).
    Returns (D,) −½[log|V| + log|XᵀV⁻¹X| + r'V⁻¹r + (N − p)·log 2π], NaN where the fit is singular,
    then (D, p) and (D, p, p).
    """
    draws, p, n = parts.shape[0], x.shape[1], y.size
    out, gammas, covs = np.empty(draws), np.zeros((draws, p)), np.zeros((draws, p, p))
    prior, spread, gain = np.zeros(5 * LANES), np.zeros(6 * LANES), np.zeros(4 * LANES)
    mean, fresh = np.zeros(3 * (p + 1) * LANES), np.zeros((p + 1) * LANES)
    sums, logdet, product = np.zeros((p + 1) * (p + 1) * LANES), np.zeros(LANES), np.ones(LANES)
    a = np.zeros((p + 1, p + 1))
    for first in range(0, draws, LANES):
        used = min(LANES, draws - first)
        lanes = -(-used // LANE_STEP) * LANE_STEP  # lanes beyond the last row repeat it
        for d in range(lanes):
            sd_a, sd_b, rho, sd_e, tau = parts[first + min(d, used - 1)]
            prior[d], prior[LANES + d], prior[2 * LANES + d] = sd_a * sd_a, rho * sd_a * sd_b, sd_b * sd_b
            prior[3 * LANES + d], prior[4 * LANES + d] = sd_e * sd_e, tau * tau
        sums[:], logdet[:] = 0.0, 0.0
        for i in range(offsets.size - 1):
            mean[:], spread[:] = 0.0, 0.0
            for d in range(lanes):
                spread[d], spread[LANES + d] = prior[d], prior[LANES + d]
                spread[3 * LANES + d] = prior[2 * LANES + d]
            before = t[offsets[i]] if offsets[i] < offsets[i + 1] else 0.0
            for k in range(offsets[i], offsets[i + 1]):
                _gain(prior, spread, t[k], t[k] - before, error[k], gain, product, lanes)
                before = t[k]
                for c in range(p + 1):
                    _innovate(y[k] if c == p else x[k, c], t[k], gain, mean, fresh, c, lanes)
                for c in range(p + 1):
                    for e in range(c + 1):
                        _cross(fresh, gain, sums, c, e, c * (p + 1) + e, lanes)
                if (k - offsets[i]) % PER_LOG == PER_LOG - 1 or k == offsets[i + 1] - 1:
                    for d in range(lanes):
                        logdet[d] += math.log(product[d])
                        product[d] = 1.0
        for d in range(used):
            for c in range(p + 1):
                for e in range(c + 1):
                    a[c, e] = a[e, c] = sums[(c * (p + 1) + e) * LANES + d]
            row = first + d
            logdet_x, form = solve_normal(a, p, gammas[row], covs[row])
            out[row] = -0.5 * (logdet[d] + logdet_x + form + (n - p) * math.log(2.0 * math.pi))
    return out, gammas, covs


@compiled
def lines(
    parts: FLOATS, gammas: FLOATS, covs: FLOATS, offsets: COUNTS, t: FLOATS, y: FLOATS, error: FLOATS,
    x: FLOATS, grid: FLOATS, grid_x: FLOATS,
) -> tuple[FLOATS, FLOATS, FLOATS]:  # fmt: skip
    """Each student's line x·γ + a + b·t + W(t) at chosen times, given each row of variance parts.

    With k the line's prior covariance with the sessions and V theirs: mean = xγ̂ + kᵀV⁻¹(y − Xγ̂), covariance
    = k(s, s') − kᵀV⁻¹k + hᵀ·cov(γ̂)·h, h = x − XᵀV⁻¹k (so the uncertainty of γ is included).

    Shapes: grid (S, K) months, grid_x (S, K, p) the fixed columns there; the rest as `restricted`. Returns
    (D, S, K) means, (D, S, K) variances, and (D, S) the covariance of the first and last time.
    """
    draws, students, times, p = parts.shape[0], grid.shape[0], grid.shape[1], x.shape[1]
    mean, var = np.zeros((draws, students, times)), np.zeros((draws, students, times))
    ends = np.zeros((draws, students))
    most = 1
    for i in range(students):
        most = max(most, offsets[i + 1] - offsets[i])
    low, w = np.zeros((most, most)), np.zeros((most, times))
    b, u, h = np.zeros((most, p)), np.zeros(most), np.zeros((times, p))
    for d in range(draws):
        sd_a, sd_b, rho, sd_e, tau = parts[d]
        g0, g1, g2, walk = sd_a * sd_a, rho * sd_a * sd_b, sd_b * sd_b, tau * tau
        for i in range(students):
            o, count = offsets[i], offsets[i + 1] - offsets[i]
            first = t[o] if count > 0 else 0.0
            for r in range(count):
                tr = t[o + r]
                for c in range(r + 1):
                    tc = t[o + c]
                    s = g0 + g1 * (tr + tc) + g2 * tr * tc + walk * (tc - first)
                    if r == c:
                        s += sd_e * sd_e + error[o + r]
                    for k in range(c):
                        s -= low[r, k] * low[c, k]
                    low[r, c] = math.sqrt(s) if r == c else s / low[c, c]
                for c in range(p):
                    s = x[o + r, c]
                    for k in range(r):
                        s -= low[r, k] * b[k, c]
                    b[r, c] = s / low[r, r]
                s = y[o + r]
                for c in range(p):
                    s -= x[o + r, c] * gammas[d, c]
                for k in range(r):
                    s -= low[r, k] * u[k]
                u[r] = s / low[r, r]
                for g in range(times):
                    at = grid[i, g]
                    s = g0 + g1 * (at + tr) + g2 * at * tr + walk * (max(min(at, tr), first) - first)
                    for k in range(r):
                        s -= low[r, k] * w[k, g]
                    w[r, g] = s / low[r, r]
            for g in range(times):
                at = grid[i, g]
                centre, spread = 0.0, g0 + 2.0 * g1 * at + g2 * at * at + walk * max(at - first, 0.0)
                for r in range(count):
                    centre += w[r, g] * u[r]
                    spread -= w[r, g] * w[r, g]
                for c in range(p):
                    centre += grid_x[i, g, c] * gammas[d, c]
                    h[g, c] = grid_x[i, g, c]
                    for r in range(count):
                        h[g, c] -= b[r, c] * w[r, g]
                for c in range(p):
                    for e in range(p):
                        spread += h[g, c] * covs[d, c, e] * h[g, e]
                mean[d, i, g], var[d, i, g] = centre, max(spread, 0.0)
            z = times - 1
            a0, az = grid[i, 0], grid[i, z]
            both = g0 + g1 * (a0 + az) + g2 * a0 * az + walk * max(min(a0, az) - first, 0.0)
            for r in range(count):
                both -= w[r, 0] * w[r, z]
            for c in range(p):
                for e in range(p):
                    both += h[0, c] * covs[d, c, e] * h[z, e]
            ends[d, i] = both
    return mean, var, ends
