"""The compiled part of the mixed model that gives a student's whole line: exact, one student after another.

Variance parts come as rows as in kernel.py, where lines are only asked for their ends.
"""

import math

import numpy as np

from models.season.kernel import COUNTS, FLOATS, own_line
from models.swing.compiled import compiled


@compiled
def lines(
    parts: FLOATS, gammas: FLOATS, covs: FLOATS, noise: FLOATS, offsets: COUNTS, t: FLOATS, y: FLOATS,
    error: FLOATS, x: FLOATS, grid: FLOATS, grid_x: FLOATS,
) -> tuple[FLOATS, FLOATS]:  # fmt: skip
    """Each student's line x·γ + a + b·t + W(t) at chosen times, given each row of variance parts.

    With k the line's prior covariance with the sessions and V theirs: mean = xγ̂ + kᵀV⁻¹(y − Xγ̂), covariance
    = k(s, s') − kᵀV⁻¹k + hᵀ·cov(γ̂)·h, h = x − XᵀV⁻¹k (so the uncertainty of γ is included).

    Shapes: grid (S, K) months, grid_x (S, K, p) the fixed columns there; the rest as `moments` and
    `restricted`. Returns (R, S, K) means and (R, S, K) variances.
    """
    draws, students, times, p = parts.shape[0], grid.shape[0], grid.shape[1], x.shape[1]
    mean, var = np.zeros((draws, students, times)), np.zeros((draws, students, times))
    most = 1
    for i in range(students):
        most = max(most, offsets[i + 1] - offsets[i])
    low, w = np.zeros((most, most)), np.zeros((most, times))
    b, u, h = np.zeros((most, p)), np.zeros(most), np.zeros((times, p))
    for d in range(draws):
        rho = parts[d, 2]
        for i in range(students):
            sd_a, sd_b, tau = own_line(parts[d], noise[i])
            g0, g1, g2, walk = sd_a * sd_a, rho * sd_a * sd_b, sd_b * sd_b, tau * tau
            sd_e = parts[d, 3] * math.exp(parts[d, 5] * noise[i] + parts[d, 6])
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
    return mean, var
