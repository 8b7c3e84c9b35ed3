"""The compiled part of the mixed model (mixed.py): likelihood of the variance parts, and ends of lines.

y_ij = x_ij·γ + a_i + b_i·t_ij + W_i(t_ij) + e_ij, (a_i, b_i) ~ N(0, G), W_i a Brownian path that starts at 0
at student i's first session, e_ij ~ N(0, sd_session_i² + error_ij). Variance parts come as rows of
(sd_a, sd_b, rho, sd_session, tau, κ, shift, λ, μ). With ℓ_i the log swing sd of student i about the usual
(`noise`), the session sd is sd_session·exp(κℓ_i + shift), that of a_i sd_a·exp(μℓ_i), of b_i sd_b·exp(λℓ_i).
Students come one after another, rows offsets[i]:offsets[i + 1], by time.
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
def own_line(row: FLOATS, noise: float) -> tuple[float, float, float]:
    """sd_a, sd_b and tau of a student whose log swing sd is `noise` over the usual."""
    return row[0] * math.exp(row[8] * noise), row[1] * math.exp(row[7] * noise), row[4]


@compiled
def _gain(
    prior: FLOATS, spread: FLOATS, at: float, step: float, error: float, gain: FLOATS, product: FLOATS,
    lanes: int,
) -> None:  # fmt: skip
    """One session, all lanes: the filter's gain and 1 / variance, its spread after, the variances' product.

    Lane after lane within each quantity: prior (sd_e², τ²), spread (aa, ab, aW, bb, bW, WW), gain (a, b, W,
    1 / variance).
    """
    for d in range(lanes):
        p00, p01, p02 = spread[d], spread[LANES + d], spread[2 * LANES + d]
        p11, p12 = spread[3 * LANES + d], spread[4 * LANES + d]
        p22 = spread[5 * LANES + d] + prior[LANES + d] * step
        c0, c1, c2 = p00 + at * p01 + p02, p01 + at * p11 + p12, p02 + at * p12 + p22
        s = c0 + at * c1 + c2 + prior[d] + error
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
def moments(
    parts: FLOATS, noise: FLOATS, offsets: COUNTS, t: FLOATS, y: FLOATS, error: FLOATS, x: FLOATS,
    ends: COUNTS, apart: int,
) -> tuple[FLOATS, FLOATS]:  # fmt: skip
    """A = [X y]ᵀV⁻¹[X y] and log|V| of the rows up to each of `ends`, for each row of variance parts.

    A Kalman filter over (a, b, W) a student, run on y and on every column of X at once, gives the whitened
    innovations; A is the sum of their cross products (de Jong 1991, Biometrika 78). LANES rows of parts go
    through the data together, so that the processor works on several at once.

    Shapes: parts (R, 9), noise (S,), offsets (S + 1,), t (months), y and error (known error variance) (N,),
    x (N, p), ends (G,) rising. Sums start anew with every student when `apart` is 1. Returns lower triangles
    of A row by row, (R, G, q(q + 1)/2) with q = p + 1, and (R, G).
    """
    rows, p = parts.shape[0], x.shape[1]
    size = (p + 1) * (p + 2) // 2
    out, heights = np.zeros((rows, ends.size, size)), np.zeros((rows, ends.size))
    prior, spread, gain = np.zeros(2 * LANES), np.zeros(6 * LANES), np.zeros(4 * LANES)
    mean, fresh = np.zeros(3 * (p + 1) * LANES), np.zeros((p + 1) * LANES)
    sums, logdet, product = np.zeros(size * LANES), np.zeros(LANES), np.ones(LANES)
    for first in range(0, rows, LANES):
        used = min(LANES, rows - first)
        lanes = -(-used // LANE_STEP) * LANE_STEP  # lanes beyond the last row repeat it
        sums[:], logdet[:], g = 0.0, 0.0, 0
        for i in range(offsets.size - 1):
            mean[:], spread[:] = 0.0, 0.0
            if apart == 1:
                sums[:], logdet[:] = 0.0, 0.0
            for d in range(lanes):
                row = first + min(d, used - 1)
                sd_a, sd_b, tau = own_line(parts[row], noise[i])
                sd_e = parts[row, 3] * math.exp(parts[row, 5] * noise[i] + parts[row, 6])
                prior[d], prior[LANES + d] = sd_e * sd_e, tau * tau
                spread[d], spread[LANES + d] = sd_a * sd_a, parts[row, 2] * sd_a * sd_b
                spread[3 * LANES + d] = sd_b * sd_b
            before = t[offsets[i]] if offsets[i] < offsets[i + 1] else 0.0
            for k in range(offsets[i], offsets[i + 1]):
                _gain(prior, spread, t[k], t[k] - before, error[k], gain, product, lanes)
                before = t[k]
                for c in range(p + 1):
                    _innovate(y[k] if c == p else x[k, c], t[k], gain, mean, fresh, c, lanes)
                place = 0
                for c in range(p + 1):
                    for e in range(c + 1):
                        _cross(fresh, gain, sums, c, e, place, lanes)
                        place += 1
                wanted = g < ends.size and ends[g] == k
                if wanted or (k - offsets[i]) % PER_LOG == PER_LOG - 1 or k == offsets[i + 1] - 1:
                    for d in range(lanes):
                        logdet[d] += math.log(product[d])
                        product[d] = 1.0
                if wanted:
                    for d in range(used):
                        heights[first + d, g] = logdet[d]
                        for place in range(size):
                            out[first + d, g, place] = sums[place * LANES + d]
                    g += 1
    return out, heights


@compiled
def _whole(lower: FLOATS, a: FLOATS) -> None:
    """Write the symmetric matrix whose lower triangle is `lower` to `a`."""
    place = 0
    for c in range(a.shape[0]):
        for e in range(c + 1):
            a[c, e] = a[e, c] = lower[place]
            place += 1


@compiled
def _residual(gamma: FLOATS, times: FLOATS) -> None:
    """What the lower triangle of A is to be multiplied by, so that it adds up to (y − Xγ)ᵀV⁻¹(y − Xγ)."""
    place, p = 0, gamma.size
    for c in range(p + 1):
        one = 1.0 if c == p else -gamma[c]
        for e in range(c + 1):
            other = 1.0 if e == p else -gamma[e]
            times[place] = (1.0 if e == c else 2.0) * one * other
            place += 1


@compiled
def restricted(
    sums: FLOATS, heights: FLOATS, weights: FLOATS, p: int, n: int, rounds: int
) -> tuple[FLOATS, FLOATS, FLOATS]:
    """Restricted log likelihood of each of D draws of variance parts, with γ̂ and its covariance.

    From `moments` (D, K, G, ·) and (D, K, G) of G independent groups, each under K kinds of noise of which
    one, unknown, is theirs; weights (K,). γ̂ by `rounds` of expectation and maximisation over the kinds; its
    covariance as if they were known. With one kind this is the restricted likelihood itself:
    −½[log|V| + log|XᵀV⁻¹X| + r'V⁻¹r + (n − p)·log 2π]. NaN where the fit is singular.
    Returns (D,), (D, p) and (D, p, p).
    """
    draws, kinds, groups = heights.shape
    out, gammas, covs = np.empty(draws), np.zeros((draws, p)), np.zeros((draws, p, p))
    share, logs = np.zeros((kinds, groups)), np.zeros(kinds)
    size = sums.shape[3]
    lower, times, a = np.zeros(size), np.zeros(size), np.zeros((p + 1, p + 1))
    for d in range(draws):
        for k in range(kinds):
            share[k] = weights[k]
        total = math.nan
        for _ in range(rounds if kinds > 1 else 1):
            lower[:] = 0.0
            for k in range(kinds):
                for g in range(groups):
                    for j in range(size):
                        lower[j] += share[k, g] * sums[d, k, g, j]
            _whole(lower, a)
            logdet_x, form = solve_normal(a, p, gammas[d], covs[d])
            if kinds == 1:
                total = -0.5 * (heights[d].sum() + form)
            else:
                total = 0.0
                _residual(gammas[d], times)
                for g in range(groups):
                    for k in range(kinds):
                        form = heights[d, k, g]
                        for j in range(size):
                            form += times[j] * sums[d, k, g, j]
                        logs[k] = -0.5 * form
                    most = logs.max()
                    whole = 0.0
                    for k in range(kinds):
                        share[k, g] = weights[k] * math.exp(logs[k] - most)
                        whole += share[k, g]
                    for k in range(kinds):
                        share[k, g] /= whole
                    total += most + math.log(whole)
            out[d] = total - 0.5 * (logdet_x + (n - p) * math.log(2.0 * math.pi))
    return out, gammas, covs


@compiled
def ends(
    parts: FLOATS, gammas: FLOATS, covs: FLOATS, sums: FLOATS, heights: FLOATS, noise: FLOATS, span: FLOATS,
    fixed: FLOATS,
) -> FLOATS:  # fmt: skip
    """Where each line starts and how far it moved in `span` months, from the moments of its sessions alone.

    The start a and the change b·T + W(T) have covariance (σ_a², ρσ_aσ_b) and (ρσ_aσ_bT, σ_b²T + τ²) with the
    sessions as multiples of the columns 1 and t, c; so with A's parts, the mean is f·γ + cᵀ(A_xy − A_xxγ) and
    the covariance of two such targets P − cᵀA_xxc' + hᵀCov(γ)h', h = f − A_xxc.

    Shapes: parts (R, 9), gammas (R, p), covs (R, p, p), sums and heights as from `moments` (each group a
    student up to some session), noise and span (G,), fixed (G, p) the columns at the start. Returns
    (6, R, G): log likelihood up to a constant, start, change, their variances, their covariance.
    """
    rows, groups = heights.shape
    p = gammas.shape[1]
    out = np.empty((6, rows, groups))
    a, h0, h1 = np.zeros((p + 1, p + 1)), np.zeros(p), np.zeros(p)
    times = np.zeros(sums.shape[2])
    for r in range(rows):
        _residual(gammas[r], times)
        rho = parts[r, 2]
        for g in range(groups):
            sd_a, sd_b, tau = own_line(parts[r], noise[g])
            _whole(sums[r, g], a)
            form = heights[r, g]
            for j in range(times.size):
                form += times[j] * sums[r, g, j]
            far = span[g]
            c0, c1 = sd_a * sd_a, rho * sd_a * sd_b
            d0, d1 = rho * sd_a * sd_b * far, sd_b * sd_b * far + tau * tau
            start, change = 0.0, gammas[r, 1] * far
            for e in range(p):
                start += fixed[g, e] * gammas[r, e]
                h0[e] = fixed[g, e] - a[e, 0] * c0 - a[e, 1] * c1
                h1[e] = (far if e == 1 else 0.0) - a[e, 0] * d0 - a[e, 1] * d1
            left0, left1 = a[0, p], a[1, p]
            for e in range(p):
                left0 -= a[0, e] * gammas[r, e]
                left1 -= a[1, e] * gammas[r, e]
            start += c0 * left0 + c1 * left1
            change += d0 * left0 + d1 * left1
            var0 = c0 - c0 * c0 * a[0, 0] - 2.0 * c0 * c1 * a[0, 1] - c1 * c1 * a[1, 1]
            var1 = sd_b * sd_b * far * far + tau * tau * far
            var1 -= d0 * d0 * a[0, 0] + 2.0 * d0 * d1 * a[0, 1] + d1 * d1 * a[1, 1]
            both = c1 * far - c0 * d0 * a[0, 0] - (c0 * d1 + c1 * d0) * a[0, 1] - c1 * d1 * a[1, 1]
            for e in range(p):
                for f in range(p):
                    var0 += h0[e] * covs[r, e, f] * h0[f]
                    var1 += h1[e] * covs[r, e, f] * h1[f]
                    both += h0[e] * covs[r, e, f] * h1[f]
            out[0, r, g] = -0.5 * form
            out[1, r, g], out[2, r, g] = start, change
            out[3, r, g], out[4, r, g], out[5, r, g] = max(var0, 0.0), max(var1, 0.0), both
    return out
