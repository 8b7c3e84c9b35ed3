"""How the heels lighten, load and take turns within their own feet, from heel shares of each foot's load.

A heel share knows nothing of the load that moves from foot to foot. Means over a few hundredths of a second
stand in for single samples, so that a plate's noise is no move. Conventions are those of operations.py.
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing import operations as ops
from models.swing.compiled import compiled

FLOATS = NDArray[np.float64]
FOOT_MOVES = 8.0  # points of its foot's load: a heel that gives up or takes on less has not moved
MOST_ORDER_ERROR_MS = 50.0


@compiled
def rolling_trough(x: FLOATS, n: int, first: int, last: int, half: int) -> float:
    """Least mean over 2·half + 1 samples in first…last; NaN when under half of the range is known."""
    if math.isnan(ops.mean_between(x, n, first, last)) or first < 0:
        return math.nan
    return float(np.nanmin(ops.running_means(x, n, first, last, half)))


@compiled
def opposed_moves(u: FLOATS, v: FLOATS, n: int, first: int, last: int, steps: int) -> float:
    """−ΣΔuΔv / √(ΣΔu²·ΣΔv²) of all moves over `steps` samples of their means; 0 if one hardly moves."""
    if first < 0 or last <= first + steps:
        return math.nan
    half = steps // 2
    x, y = ops.running_means(u, n, first, last, half), ops.running_means(v, n, first, last, half)
    still = False
    for means in (x, y):
        low, high = ops.between(means, means.size, 0, means.size - 1)
        if math.isnan(low):
            return math.nan
        still = still or high - low < FOOT_MOVES
    if still:
        return 0.0
    xy, xx, yy = 0.0, 0.0, 0.0
    for k in range(x.size - steps):
        dx, dy = x[k + steps] - x[k], y[k + steps] - y[k]
        if not math.isnan(dx + dy):
            xy += dx * dy
            xx += dx * dx
            yy += dy * dy
    return max(-1.0, min(1.0, -xy / math.sqrt(xx * yy))) if xx > 0.0 and yy > 0.0 else math.nan


@compiled
def first_past(means: FLOATS, start: int, level: float, sign: float) -> float:
    """Place, by a straight line, at which sign·(means − level) is first ≥ 0 from `start` on; NaN if never."""
    for k in range(start, means.size):
        if sign * (means[k] - level) >= 0.0:
            before = means[k - 1] if k > start else math.nan
            return float(k) if math.isnan(before) else k - (means[k] - level) / (means[k] - before)
    return math.nan


@compiled
def slope_at(means: FLOATS, place: float, reach: int) -> float:
    """Size of the slope a sample about a place, from `reach` samples before it to as many after."""
    low, high = max(int(place) - reach, 0), min(int(place) + 1 + reach, means.size - 1)
    return abs(means[high] - means[low]) / (high - low) if high > low else 0.0


@compiled
def heel_order(swing: ops.Swing, lead: FLOATS, trail: FLOATS) -> tuple[float, float]:
    """How long the trail heel is rising before the lead heel is down again, ms, and its standard error, ms.

    The lead heel is down when, after its lightest before the top, it is back within FOOT_MOVES of its share
    at address (at impact at the latest); the trail heel rises when it has lost half of its share at the top,
    and as much as that. Null when one of them never lightens by so much. The error: each heel's waver at
    address over its slope at its moment, the two together.
    """
    at, n, fs = swing.at, swing.record.n, swing.record.fs
    address, back, top, impact = at[ops.ADDRESS], at[ops.MID_BACK], at[ops.TOP], at[ops.IMPACT]
    if address < 0 or not 0 <= back < top < impact:
        return math.nan, math.nan
    half, quiet = int(np.rint(ops.EVENT_HALF_S * fs)), int(np.rint(ops.ADDRESS_HALF_S * fs))
    standing = ops.around(lead, n, address, quiet)
    lead_means = ops.running_means(lead, n, back, impact, half)
    least, lightest = math.inf, -1
    for k in range(top - back + 1):
        if lead_means[k] < least:
            least, lightest = lead_means[k], k
    trail_means = ops.running_means(trail, n, top, impact, half)
    at_top = ops.around(trail, n, top, half)
    off = first_past(trail_means, 0, min(0.5 * at_top, at_top - FOOT_MOVES), -1.0)
    if lightest < 0 or not standing - least >= FOOT_MOVES or math.isnan(off):
        return math.nan, math.nan
    down, error = first_past(lead_means, lightest, standing - FOOT_MOVES, 1.0), 0.0
    if math.isnan(down):
        down = float(impact - back)
    else:
        error = ops.spread_between(lead, n, address - quiet, address + quiet) / slope_at(
            lead_means, down, half
        )
    error = math.hypot(
        error,
        ops.spread_between(trail, n, address - quiet, address + quiet) / slope_at(trail_means, off, half),
    )
    error *= 1000.0 / fs
    if not error < math.inf:
        return math.nan, math.nan
    order = (back + down - top - off) * 1000.0 / fs
    return order if error <= MOST_ORDER_ERROR_MS else math.nan, error
