"""The compiled part of the season's one fit: likelihood of the variance parts, and lines given them.

y_ij = x_ij·γ + a_i + b_i·t_ij + W_i(t_ij) + e_ij, (a_i, b_i) ~ N(0, G), W_i a Brownian path that starts at 0
at student i's first session, e_ij ~ N(0, sd_session² + error_ij). Variance parts come as rows of
(sd_a, sd_b, rho, sd_session, tau). Students stand one after another, rows offsets[i]:offsets[i + 1], by time.
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing.compiled import compiled

FLOATS = NDArray[np.float64]
COUNTS = NDArray[np.int64]


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
def restricted(
    parts: FLOATS, offsets: COUNTS, t: FLOATS, y: FLOATS, error: FLOATS, x: FLOATS
) -> tuple[FLOATS, FLOATS, FLOATS]:
    """Restricted log likelihood of each row of variance parts, with γ̂ and its covariance.

    A Kalman filter over (a, b, W) a student, run on y and on every column of X at once, gives the whitened
    innovations; their cross products give the generalised least-squares fit (de Jong 1991, Biometrika 78).

    Shapes: parts (D, 5), offsets (S + 1,), t (months), y and error (known error variance) (N,), x (N, p).
    Returns (D,) −½[log|V| + log|XᵀV⁻¹X| + r'V⁻¹r + (N − p)·log 2π], NaN where the fit is singular,
    then (D, p) and (D, p, p).
    """
    draws, p, n = parts.shape[0], x.shape[1], y.size
    out, gammas, covs = np.empty(draws), np.zeros((draws, p)), np.zeros((draws, p, p))
    m0, m1, m2, v = np.empty(p + 1), np.empty(p + 1), np.empty(p + 1), np.empty(p + 1)
    for d in range(draws):
        sd_a, sd_b, rho, sd_e, tau = parts[d]
        a = np.zeros((p + 1, p + 1))
        logdet = 0.0
        for i in range(offsets.size - 1):
            m0[:], m1[:], m2[:] = 0.0, 0.0, 0.0
            p00, p01, p11 = sd_a * sd_a, rho * sd_a * sd_b, sd_b * sd_b
            p02, p12, p22 = 0.0, 0.0, 0.0
            before = t[offsets[i]] if offsets[i] < offsets[i + 1] else 0.0
            for k in range(offsets[i], offsets[i + 1]):
                at = t[k]
                p22 += tau * tau * (at - before)
                before = at
                c0, c1, c2 = p00 + at * p01 + p02, p01 + at * p11 + p12, p02 + at * p12 + p22
                s = c0 + at * c1 + c2 + sd_e * sd_e + error[k]
                logdet += math.log(s)
                k0, k1, k2 = c0 / s, c1 / s, c2 / s
                for c in range(p + 1):
                    value = y[k] if c == p else x[k, c]
                    v[c] = value - m0[c] - at * m1[c] - m2[c]
                    m0[c] += k0 * v[c]
                    m1[c] += k1 * v[c]
                    m2[c] += k2 * v[c]
                for c in range(p + 1):
                    for e in range(c + 1):
                        a[c, e] += v[c] * v[e] / s
                p00 -= k0 * c0
                p01 -= k0 * c1
                p02 -= k0 * c2
                p11 -= k1 * c1
                p12 -= k1 * c2
                p22 -= k2 * c2
        for c in range(p + 1):
            for e in range(c):
                a[e, c] = a[c, e]
        logdet_x, form = solve_normal(a, p, gammas[d], covs[d])
        out[d] = -0.5 * (logdet + logdet_x + form + (n - p) * math.log(2.0 * math.pi))
    return out, gammas, covs


@compiled
def lines(
    parts: FLOATS, gammas: FLOATS, covs: FLOATS, offsets: COUNTS, t: FLOATS, y: FLOATS, error: FLOATS,
    x: FLOATS, grid: FLOATS, grid_x: FLOATS,
) -> tuple[FLOATS, FLOATS, FLOATS]:  # fmt: skip
    """Each student's line x·γ + a + b·t + W(t) at chosen times, given each row of variance parts.

    With k the line's prior covariance with the sessions and V theirs: mean = xγ̂ + kᵀV⁻¹(y − Xγ̂), covariance
    = k(s, s') − kᵀV⁻¹k + hᵀ·cov(γ̂)·h, h = x − XᵀV⁻¹k (what is not known of γ is carried along).

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
