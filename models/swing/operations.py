"""What a formula of metrics.toml may ask of one swing's signals: means, extremes, peaks, slopes.

Every compiled function here takes one (n,) float64 signal in which NaN means "not known", and sample numbers.
A range is `first`…`last`, both counted in, cut to the record; a negative number is an event that is missing
or outside the record. Each returns NaN where it can't say: a range turned round, an event missing, or fewer
than half of the samples known (so that a dropout gives null, not a guess).
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.swing import conditioning as c
from models.swing.compiled import compiled

FLOATS = NDArray[np.float64]
COUNTS = NDArray[np.int64]
ADDRESS, TAKEAWAY, MID_BACK, TOP, MID_DOWN, IMPACT, FINISH = range(7)
EVENT_HALF_S, ADDRESS_HALF_S = 0.010, 0.150
HEEL_MOVES, HEEL_OVER_NOISE = 8.0, 15.0  # least move for an opposition: % of total, times its address noise
PLATEAU = 0.1
"""A peak's time is the weighted centre of all that lies within this much (points of share, % of body weight)
of its height."""


class Swing(NamedTuple):
    """One swing as formulas see it; a tuple, which compiled code can take."""

    record: c.Record
    at: COUNTS  # (7,) sample number of each event, −1 where missing or outside the record
    event_s: FLOATS  # (7,) s after the first sample
    stance_mm: FLOATS  # (8,) or empty
    percent: float  # of body weight, a newton
    source: int  # of the heel loads
    off: float  # N: a foot that carries less is off the ground
    has_body: bool  # a whole-body centre of pressure can be had


@compiled
def around(x: FLOATS, n: int, centre: int, half: int) -> float:
    """Mean over centre ± half samples; NaN when the event is missing (centre < 0)."""
    return mean_between(x, n, centre - half, centre + half) if centre >= 0 else math.nan


@compiled
def sample_of(moment: float, searched_to: int, last: int) -> int:
    """Nearest sample of a moment that a search up to one event found, to start a range to a later one."""
    return int(np.rint(moment)) if searched_to < last and not math.isnan(moment) else -1


@compiled
def ahead_s(swing: Swing, event: int, moment: float) -> float:
    """How long before an event a moment lies, s; NaN when the event is outside the record."""
    if swing.at[event] < 0:
        return math.nan
    return float((swing.event_s[event] * swing.record.fs - moment) / swing.record.fs)


@compiled
def lesser(a: float, b: float) -> float:
    """The smaller of two numbers; NaN when either is."""
    return math.nan if math.isnan(a + b) else min(a, b)


@compiled
def greater(a: float, b: float) -> float:
    """The larger of two numbers; NaN when either is."""
    return math.nan if math.isnan(a + b) else max(a, b)


@compiled
def ratio(a: float, b: float) -> float:
    """A quotient, with inf or NaN where b is 0."""
    return a / b


@compiled
def distance(stance_mm: FLOATS, first: int, second: int) -> float:
    """Distance of two of the four points on the floor, mm; NaN when no stance was given."""
    if stance_mm.size != 8:
        return math.nan
    a, b = 2 * first, 2 * second
    return math.hypot(stance_mm[a] - stance_mm[b], stance_mm[a + 1] - stance_mm[b + 1])


@compiled
def opposed(swing: Swing, u: FLOATS, v: FLOATS, first: int, last: int) -> float:
    """Opposition of two heels over a phase; NaN unless each moves by 8 % of total and 15 × its noise."""
    address, n = swing.at[ADDRESS], swing.record.n
    if address < 0 or first < 0 or last <= first:
        return math.nan
    quiet = int(np.rint(ADDRESS_HALF_S * swing.record.fs))
    for heel in (u, v):
        low, high = between(heel, n, first, last)
        noise = spread_between(heel, n, address - quiet, address + quiet)
        if not (high - low >= HEEL_MOVES and high - low >= HEEL_OVER_NOISE * noise):
            return math.nan
    return opposition(u, v, n, first, last)


@compiled
def at_highest(x: FLOATS, y: FLOATS, n: int, first: int, last: int) -> float:
    """Value of x at the highest known sample of y in first…last."""
    highest = between(y, n, first, last)[1]
    if math.isnan(highest):
        return math.nan
    for k in range(first, min(last, n - 1) + 1):
        if y[k] == highest:
            return float(x[k])
    return math.nan


@compiled
def time_back(x: FLOATS, n: int, first: int, last: int, points: float) -> float:
    """Sample number at which x is first `points` under its highest, after it; `last` when it never is."""
    highest = between(x, n, first, last)[1]
    if math.isnan(highest):
        return math.nan
    peaked, before = False, highest
    for k in range(first, min(last, n - 1) + 1):
        peaked = peaked or x[k] == highest
        if peaked and x[k] <= highest - points:
            return float(k - (highest - points - x[k]) / (before - x[k]))
        if not math.isnan(x[k]):
            before = x[k]
    return float(last)


@compiled
def slowest(swing: Swing, seconds: float, end: int) -> float:
    """Path length over time of the body's quietest stretch of `seconds` before sample `end`, mm/s."""
    r = swing.record
    steps = int(np.rint(seconds * r.fs))
    if end < steps or not swing.has_body or not c.prepare_body(r, end + 1, swing.stance_mm):
        return math.nan
    return quietest_path(r.lines[c.BODY_X], r.lines[c.BODY_Y], end + 1, steps) * r.fs / steps


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
def between(x: FLOATS, n: int, first: int, last: int) -> tuple[float, float]:
    """(least, highest) of the known samples in first…last."""
    if first < 0 or last < first:
        return math.nan, math.nan
    low, high = max(first, 0), min(last, n - 1)
    least, highest, known = math.inf, -math.inf, 0
    for k in range(low, high + 1):  # without branches: NaN is neither less nor more than anything
        value = x[k]
        known += not math.isnan(value)
        least = min(least, value)
        highest = max(highest, value)
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

    NaN where `highest` is. A bare arg-max jumps from one end of a flat top to the other under rounding; this
    moves smoothly.
    """
    floor = highest - within
    weight, moment = 0.0, 0.0
    for k in range(first, last + 1):
        if x[k] > floor:
            weight += x[k] - floor
            moment += (x[k] - floor) * (k - first)
    return first + moment / weight if weight > 0.0 else math.nan


@compiled
def running_means(x: FLOATS, n: int, first: int, last: int, half: int) -> FLOATS:
    """Means over 2·half + 1 samples about each of first…last; NaN where under half are known.

    Each window is cut to first…last, so that a peak on their border keeps its place there.
    """
    low, high = first, min(last, n - 1)
    means = np.empty(max(high - low + 1, 0))
    total, known, right = 0.0, 0, low - 1
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
        means[centre - low] = total / known if known > 0 and 2 * known >= width else math.nan
    return means


@compiled
def rolling_peak(x: FLOATS, n: int, first: int, last: int, half: int) -> tuple[float, float]:
    """Highest of the running means in first…last, and its time as a sample number."""
    if first < 0 or last < first:
        return math.nan, math.nan
    means = running_means(x, n, first, last, half)
    highest = -math.inf
    for mean in means:
        highest = max(highest, mean)
    if highest == -math.inf:
        return math.nan, math.nan
    return highest, first + plateau_centre(means, 0, means.size - 1, highest, PLATEAU)


@compiled
def steepest_slope(x: FLOATS, n: int, first: int, last: int, points: int, rate_hz: float) -> float:
    """Highest least-squares slope (per second) over `points` neighbouring samples inside first…last.

    A window holding an unknown sample is passed over; NaN when no window is whole.
    """
    if first < 0 or last < first:
        return math.nan
    low, high = first, min(last, n - 1)
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
