"""Small compiled measures over a range of samples: means, extremes, peaks, slopes, paths, crossings.

Every function takes one (n,) float64 signal in which NaN means "not known", and sample numbers. A range is
`first`…`last`, both counted in, cut to the record. Each returns NaN where it can't say: a range turned round
or outside the record, or fewer than half of its samples known (so that a dropout gives null, not a guess).
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing.compiled import compiled

FLOATS = NDArray[np.float64]
PLATEAU = 0.1
"""A peak's time is the weighted centre of all that stands within this much (points of share, % of body
weight) of its height."""


@compiled
def mean_between(x: FLOATS, n: int, first: int, last: int) -> float:
    """Mean of the known samples in first…last."""
    low, high = max(first, 0), min(last, n - 1)
    total, known = 0.0, 0
    for k in range(low, high + 1):
        if not math.isnan(x[k]):
            total += x[k]
            known += 1
    if known == 0 or 2 * known < high - low + 1:
        return math.nan
    return total / known


@compiled
def extremes_between(x: FLOATS, n: int, first: int, last: int) -> tuple[float, float]:
    """(least, highest) of the known samples in first…last."""
    low, high = max(first, 0), min(last, n - 1)
    least, highest, known = math.inf, -math.inf, 0
    for k in range(low, high + 1):
        if not math.isnan(x[k]):
            known += 1
            least = min(least, x[k])
            highest = max(highest, x[k])
    if known == 0 or 2 * known < high - low + 1:
        return math.nan, math.nan
    return least, highest


@compiled
def spread_between(x: FLOATS, n: int, first: int, last: int) -> float:
    """Sample standard deviation (n − 1) of the known samples in first…last; NaN for fewer than two."""
    mean = mean_between(x, n, first, last)
    if math.isnan(mean):
        return math.nan
    squares, known = 0.0, 0
    for k in range(max(first, 0), min(last, n - 1) + 1):
        if not math.isnan(x[k]):
            squares += (x[k] - mean) ** 2
            known += 1
    return math.sqrt(squares / (known - 1)) if known > 1 else math.nan


@compiled
def plateau_centre(x: FLOATS, first: int, last: int, highest: float, within: float) -> float:
    """Sample number (fractional) of a peak: Σ w·k / Σ w with w = x_k − (highest − within) where positive.

    A bare arg-max jumps from one end of a flat top to the other under rounding; this moves smoothly.
    """
    floor = highest - within
    weight, moment = 0.0, 0.0
    for k in range(first, last + 1):
        if x[k] > floor:
            weight += x[k] - floor
            moment += (x[k] - floor) * (k - first)
    return first + moment / weight if weight > 0.0 else math.nan


@compiled
def rolling_peak(x: FLOATS, n: int, first: int, last: int, half: int, out: FLOATS) -> tuple[float, float]:
    """Highest mean over 2·half + 1 samples, and its time as a sample number.

    Centres run over first…last and each window is cut to that range, so a peak on its border keeps its
    place there. A window less than half known is passed over. `out` (n,) is scratch for the means.
    """
    low, high = max(first, 0), min(last, n - 1)
    total, known, right = 0.0, 0, low - 1
    highest = -math.inf
    for centre in range(low, high + 1):
        while right < min(centre + half, high):
            right += 1
            if not math.isnan(x[right]):
                total += x[right]
                known += 1
        gone = centre - half - 1
        if gone >= low and not math.isnan(x[gone]):
            total -= x[gone]
            known -= 1
        width = right - max(centre - half, low) + 1
        out[centre] = total / known if known > 0 and 2 * known >= width else math.nan
        highest = max(highest, out[centre])
    if highest == -math.inf:
        return math.nan, math.nan
    return highest, plateau_centre(out, low, high, highest, PLATEAU)


@compiled
def steepest_slope(x: FLOATS, n: int, first: int, last: int, points: int, rate_hz: float) -> float:
    """Highest least-squares slope (per second) over `points` neighbouring samples inside first…last.

    A window holding an unknown sample is passed over; NaN when no window is whole.
    """
    low, high = max(first, 0), min(last, n - 1)
    middle = 0.5 * (points - 1)
    scale = rate_hz / (points * (points * points - 1.0) / 12.0)
    total, moment, run = 0.0, 0.0, 0
    best = -math.inf
    for k in range(low, high + 1):
        if math.isnan(x[k]):
            total, moment, run = 0.0, 0.0, 0
            continue
        if run == points:
            total -= x[k - points]
            moment -= total
            run -= 1
        moment += run * x[k]
        total += x[k]
        run += 1
        if run == points:
            best = max(best, (moment - middle * total) * scale)
    return best if best > -math.inf else math.nan


@compiled
def quietest_path(x: FLOATS, y: FLOATS, count: int, steps: int) -> float:
    """Shortest path over exactly `steps` steps among the first `count` samples; NaN if none is whole."""
    shortest, run_length, run = math.inf, 0.0, 0
    for k in range(1, count):
        across, along = x[k] - x[k - 1], y[k] - y[k - 1]
        step = math.sqrt(across * across + along * along)
        if math.isnan(step):
            run_length, run = 0.0, 0
            continue
        run_length += step
        run += 1
        if run > steps:
            back = k - steps
            across, along = x[back] - x[back - 1], y[back] - y[back - 1]
            run_length -= math.sqrt(across * across + along * along)
            run = steps
        if run == steps:
            shortest = min(shortest, run_length)
    return shortest if shortest < math.inf else math.nan


@compiled
def opposition(u: FLOATS, v: FLOATS, n: int, first: int, last: int) -> float:
    """−∫u′v′dt / √(∫u′²dt·∫v′²dt) over first…last, from sample differences; NaN if one is still."""
    low, high = max(first, 0), min(last, n - 1)
    uv, uu, vv, known = 0.0, 0.0, 0.0, 0
    for k in range(low, high):
        du, dv = u[k + 1] - u[k], v[k + 1] - v[k]
        if not math.isnan(du + dv):
            uv += du * dv
            uu += du * du
            vv += dv * dv
            known += 1
    if 2 * known < high - low or uu <= 0.0 or vv <= 0.0:
        return math.nan
    return max(-1.0, min(1.0, -uv / math.sqrt(uu * vv)))


NULL, CROSSED, BEFORE_TOP, NEVER = 0, 1, 2, 3


@compiled
def last_crossing(x: FLOATS, n: int, first: int, last: int, at_first: float) -> tuple[int, float]:
    """When lead share rises through 50 for good: (code, sample number).

    It reaches 53 and never falls under 47 again before `last`. The crossing is the last rise through 50
    before 53 is reached, placed between samples by a straight line. `at_first` is the value at the top event:
    over 50 there is BEFORE_TOP, whatever follows.
    """
    low, high = max(first, 0), min(last, n - 1)
    if math.isnan(at_first) or high <= low:
        return NULL, math.nan
    if at_first > 50.0:
        return BEFORE_TOP, math.nan
    known, under = 0, low
    for k in range(low, high + 1):
        if not math.isnan(x[k]):
            known += 1
            if x[k] < 47.0:
                under = k
    if 2 * known < high - low + 1:
        return NULL, math.nan
    reached = -1
    for k in range(under, high + 1):
        if x[k] >= 53.0:
            reached = k
            break
    if reached < 0:
        return NEVER, math.nan
    above = reached
    for back in range(reached - 1, under - 1, -1):
        if x[back] >= 50.0:
            above = back
        elif x[back] < 50.0:
            return CROSSED, back + (50.0 - x[back]) / (x[above] - x[back]) * (above - back)
    return CROSSED, float(above)
