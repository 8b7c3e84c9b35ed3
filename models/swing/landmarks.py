"""Landmarks of a swing's loads: when they leave the quiet, peak, cross, bend and settle. Compiled.

Four signals, filtered at 12 Hz: lead share (%), total load (N), and along of both feet (% of foot length).
A landmark is a time in s after the swing's first sample, NaN where it can't be told; all are NaN when nothing
in the record looks like a swing: no rise of the lead share by 12 points within a second or so while both feet
are down, with a quiet stand before it. Events are estimated from these times (event_estimates.py).
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing import conditioning as s
from models.swing.compiled import compiled
from models.swing.filter import lowpass_lanes, padding
from models.swing.operations import plateau_centre

FLOATS = NDArray[np.float64]
MARK_HZ = 12.0
LEAST_RISE = 12.0  # points of lead share, trail peak to the end of the transfer
QUIET_S, STILL_TIMES, STILL_PTS = 0.5, 2.0, 0.5  # a window is still within 2 × the stillest + half a point
MOST_SHARE_RANGE, MOST_ALONG_RANGE = 3.0, 4.0
"""Of a quiet stretch, in points and % of foot length; common practice, no source. Calm players move by 0.7 in
half a second (90th percentile 1.2), those who rock by 5 and more."""
FALLS = (0.10, 0.20, 0.35, 0.50, 0.70, 0.90)  # parts of the way, quiet → trail peak
AWAYS = (1.5, 2.5, 4.0, 6.0, 9.0, 13.0)  # distance from the quiet, all signals together
RISES = (0.10, 0.25, 0.50, 0.75, 0.90)  # parts of the way, trail peak → end of the transfer
QUARTERS = (0.25, 0.50, 0.75)
SETTLES = (0.50, 0.80, 0.95)

LANDMARKS = (
    "quiet", "trail_peak", "transfer", "crossing", "rise_start", "rise_bend", "lead_load_peak",
    "fall_10", "fall_20", "fall_35", "fall_50", "fall_70", "fall_90",
    "away_1", "away_2", "away_4", "away_6", "away_9", "away_13",
    "rise_10", "rise_25", "rise_50", "rise_75", "rise_90", "settle_50", "settle_80", "settle_95",
    "total_dip", "total_peak", "total_low", "surge_25", "surge_50", "surge_75",
    "drop_25", "drop_50", "drop_75",
    "trail_turn", "trail_bend", "toes_10", "toes_25", "toes_50", "toes_75", "toes_90",
    "lead_turn", "lead_bend", "heel_25", "heel_50", "heel_75",
)  # fmt: skip
(
    QUIET, PEAK, TRANSFER, CROSSING, RISE_START, RISE_BEND, LEAD_LOAD_PEAK, FALL, AWAY, RISE, SETTLE,
    DIP, SURGE, DROP, TRAIL_TURN, TOES, LEAD_TURN, HEEL,
) = (0, 1, 2, 3, 4, 5, 6, 7, 13, 19, 24, 27, 30, 33, 36, 38, 43, 45)  # fmt: skip


@compiled
def find_landmarks(columns: s.COLUMNS, offsets: NDArray[np.int64], rate_hz: FLOATS, out: FLOATS) -> None:
    """Fill `out` (S, 48), one row a swing; a swing whose rate is 0 is passed over.

    `columns`, `offsets` and `rate_hz` are those of the reduction (kernel.py).
    """
    longest, most = 1, 1
    for i in range(rate_hz.size):
        longest = max(longest, offsets[i + 1] - offsets[i])
        most = max(most, padding(MARK_HZ, rate_hz[i], offsets[i + 1] - offsets[i]))
    lanes, known = np.zeros((4, longest + 2 * most)), np.zeros((4, longest), dtype=np.uint8)
    lines, none = np.zeros((5, longest)), columns[s.LEAD_N][:0]
    for i in range(rate_hz.size):
        start, n, fs, row = offsets[i], offsets[i + 1] - offsets[i], rate_hz[i], out[i]
        row[:] = math.nan
        if not fs > 0.0 or n < fs:
            continue
        pad, whole, fewest = padding(MARK_HZ, fs, n), 0.0, n
        for foot in range(2):
            seen = s.bridge(columns[foot], start, n, none, 0.0, lanes[foot], pad, known[foot])
            fewest = min(fewest, seen)
            whole += lanes[foot, pad : pad + n].mean()
        if 2 * fewest < n or not whole > 0.0:
            continue
        fewest = n
        for foot in range(2):
            seen = s.bridge(
                columns[s.LEAD_ALONG + foot], start, n, columns[foot], s.FOOT_OFF * whole, lanes[2 + foot],
                pad, known[2 + foot],
            )  # fmt: skip
            fewest = min(fewest, seen)
        lowpass_lanes(lanes, 4, pad, n, MARK_HZ, fs)
        lines[0, :n] = lanes[0, pad : pad + n]
        lines[2:4, :n] = lanes[2:4, pad : pad + n] * (2 * fewest >= n)  # still, when not known
        held = 50.0
        for k in range(n):
            lines[1, k] = lanes[0, pad + k] + lanes[1, pad + k]
            held = 100.0 * lanes[0, pad + k] / lines[1, k] if lines[1, k] >= s.BOTH_LIGHT * whole else held
            lines[4, k] = held
        swing_landmarks(row, n, fs, whole, lines)
        for k in range(row.size):
            row[k] /= fs


@compiled
def swing_landmarks(row: FLOATS, n: int, fs: float, whole: float, lines: FLOATS) -> None:
    """One row, in samples. `lines`: lead load, total load, along lead, along trail, lead share."""
    share, total = lines[4], lines[1]
    step = int(np.rint(0.1 * fs))
    at, steepest = -1, 0.0
    for k in range(int(0.8 * fs), n - step):
        if share[k + step] - share[k - step] > steepest:
            at, steepest = k, share[k + step] - share[k - step]
    if at < 0:
        return
    low = extreme(share, max(0, at - int(1.3 * fs)), at, -1.0)
    high = extreme(share, at, min(n - 1, at + int(0.35 * fs)), 1.0)
    rise = share[high] - share[low]
    if rise < LEAST_RISE or low < int(0.3 * fs):
        return
    if total[extreme(total, low, high, -1.0)] < 0.3 * whole:
        return
    row[PEAK] = low_centre(share, max(0, at - int(1.3 * fs)), at, share[low], 0.05 * rise)
    row[TRANSFER] = at
    row[CROSSING] = passing(share, low, high, 50.0, 1.0)
    back_landmarks(row, fs, low, lines)
    parts(share, high, low, share[low], rise, RISES, row[RISE:])
    reach = max(int(np.rint(0.03 * fs)), 1)
    row[RISE_BEND] = bend(share, at, min(n - 1, at + int(0.25 * fs)), reach, -1.0)
    row[RISE_START] = bend(share, low, at, reach, 1.0)
    row[LEAD_LOAD_PEAK] = extreme(lines[0], low, min(n - 1, at + int(0.3 * fs)), 1.0)
    end = max(high, n - 1 - int(0.15 * fs))
    parts(share, at, n - 1, share[at], share[end:n].mean() - share[at], SETTLES, row[SETTLE:])
    total_landmarks(row, n, fs, low, at, total)
    feet_landmarks(row, n, fs, low, at, reach, lines)


@compiled
def back_landmarks(row: FLOATS, fs: float, low: int, lines: FLOATS) -> None:
    """The quiet before the swing, and when share and feet leave it; `low` is the sample of the trail peak.

    Without a quiet stretch all of these stay NaN. Some players' feet move up to half a second before their
    load does (common practice, no source): then the stretch ends where the feet set out. Feet that come back
    on their way were rocking, and that is no quiet stretch.
    """
    share, along_l, along_t = lines[4], lines[2], lines[3]
    half = passing(share, low, 0, 0.5 * (np.median(share[:low]) + share[low]), 1.0)
    width = int(QUIET_S * fs)
    end = quiet_end(share, low - int(0.3 * fs) if math.isnan(half) else int(half), width)
    loads_end, most = end, 1.0
    if feet_range(along_l, along_t, max(0, end - width), end) > MOST_ALONG_RANGE:
        most = 0.5  # an earlier stretch counts only if it is plainly still
        while end > max(width, loads_end - width) and (
            feet_range(along_l, along_t, end - width, end) > most * MOST_ALONG_RANGE
        ):
            end -= max(width // 20, 1)
    begin = max(0, end - width)
    if (
        np.ptp(share[begin : end + 1]) > most * MOST_SHARE_RANGE
        or feet_range(along_l, along_t, begin, end) > most * MOST_ALONG_RANGE
        or max(way_back(along_l, end, loads_end), way_back(along_t, end, loads_end)) > MOST_ALONG_RANGE
    ):
        return  # they never stood still: nothing says where the swing left the stand
    row[QUIET] = end - 0.5 * width
    quiet = share[begin : end + 1].mean()
    quiet_l, quiet_t = np.median(along_l[begin : end + 1]), np.median(along_t[begin : end + 1])
    if quiet - share[low] > 4.0:
        parts(share, low, 0, quiet, share[low] - quiet, FALLS, row[FALL:])
    for place, level in enumerate(AWAYS):
        before = math.nan
        for k in range(low, -1, -1):
            here = math.sqrt(
                (2.0 * (share[k] - quiet)) ** 2 + (along_l[k] - quiet_l) ** 2 + (along_t[k] - quiet_t) ** 2
            )
            if here <= level:
                row[AWAY + place] = k + (level - here) / (before - here)  # NaN when low itself is quiet
                break
            before = here


@compiled
def feet_range(along_l: FLOATS, along_t: FLOATS, first: int, last: int) -> float:
    """The larger range of the two feet's places."""
    return max(np.ptp(along_l[first : last + 1]), np.ptp(along_t[first : last + 1]))


@compiled
def way_back(x: FLOATS, first: int, last: int) -> float:
    """How far a line comes back at most from where it had got to, whichever way it had gone."""
    low = high = x[first]
    back = 0.0
    for k in range(first, last + 1):
        low, high = min(low, x[k]), max(high, x[k])
        back = max(back, min(high - x[k], x[k] - low))
    return back


@compiled
def total_landmarks(row: FLOATS, n: int, fs: float, low: int, at: int, total: FLOATS) -> None:
    """Dip, surge and drop of the total load about the transfer."""
    end = min(n - 1, at + int(0.25 * fs))
    top = extreme(total, max(low, at - int(0.4 * fs)), end, 1.0)
    dip = extreme(total, low, top, -1.0)
    row[DIP] = dip
    height = total[top] - total[dip]
    if height < 0.03 * total[dip]:
        return
    row[DIP + 1] = plateau_centre(total, dip, end, total[top], 0.1 * height)
    parts(total, top, dip, total[dip], height, QUARTERS, row[SURGE:])
    last = extreme(total, top, min(n - 1, top + int(0.4 * fs)), -1.0)
    parts(total, top, last, total[top], total[last] - total[top], QUARTERS, row[DROP:])
    row[DIP + 2] = last


@compiled
def feet_landmarks(row: FLOATS, n: int, fs: float, low: int, at: int, reach: int, lines: FLOATS) -> None:
    """Turning points of the trail foot (to its toes) and the lead foot (to its heel) about the transfer."""
    end, first = min(n - 1, at + int(0.35 * fs)), max(low - int(0.3 * fs), 0)
    trail, lead = lines[3], lines[2]
    turn = extreme(trail, first, at, -1.0)
    toes = extreme(trail, at, end, 1.0)
    if trail[toes] - trail[turn] > 3.0:
        row[TRAIL_TURN] = turn
        row[TRAIL_TURN + 1] = bend(trail, max(turn, at - int(0.1 * fs)), end, reach, -1.0)
        parts(trail, toes, turn, trail[turn], trail[toes] - trail[turn], RISES, row[TOES:])
    turn = extreme(lead, first, at, 1.0)
    heel = extreme(lead, at, end, -1.0)
    if lead[turn] - lead[heel] > 3.0:
        row[LEAD_TURN] = turn
        row[LEAD_TURN + 1] = bend(lead, max(turn, at - int(0.1 * fs)), end, reach, 1.0)
        parts(lead, turn, heel, lead[turn], lead[heel] - lead[turn], QUARTERS, row[HEEL:])


@compiled
def passing(x: FLOATS, first: int, last: int, level: float, sign: float) -> float:
    """Sample number, by a straight line, at which sign·(x − level) is first ≥ 0 on the way first → last."""
    step, before = (1 if last >= first else -1), math.nan
    for count in range(abs(last - first) + 1):
        k = first + step * count
        here = sign * (x[k] - level)
        if here >= 0.0:
            return float(k) if math.isnan(before) else k - step * here / (here - before)
        before = here
    return math.nan


@compiled
def parts(
    x: FLOATS, first: int, last: int, base: float, height: float, shares: tuple[float, ...], row: FLOATS
) -> None:
    """Fill row[0], row[1] … with the sample at which x passes base + share·height, first → last."""
    for place, share in enumerate(shares):
        level = base + share * height
        row[place] = passing(x, first, last, level, 1.0 if level >= x[first] else -1.0)


@compiled
def extreme(x: FLOATS, first: int, last: int, sign: float) -> int:
    """Sample number of the highest sign·x in first…last, the first of equals."""
    best = first
    for k in range(first + 1, last + 1):
        if sign * x[k] > sign * x[best]:
            best = k
    return best


@compiled
def bend(x: FLOATS, first: int, last: int, reach: int, sign: float) -> float:
    """Where sign·(x[k + reach] − 2·x[k] + x[k − reach]) is highest, refined by a parabola."""
    highest, at = -math.inf, -1
    for k in range(first + reach, last - reach + 1):
        here = sign * (x[k + reach] - 2.0 * x[k] + x[k - reach])
        if here > highest:
            highest, at = here, k
    if at < first + reach + 1 or at > last - reach - 1:
        return float(at) if at >= 0 else math.nan
    left = sign * (x[at - 1 + reach] - 2.0 * x[at - 1] + x[at - 1 - reach])
    right = sign * (x[at + 1 + reach] - 2.0 * x[at + 1] + x[at + 1 - reach])
    curve = left - 2.0 * highest + right
    return at + 0.5 * (left - right) / curve if curve < 0.0 else float(at)


@compiled
def low_centre(x: FLOATS, first: int, last: int, least: float, within: float) -> float:
    """Weighted centre of all that stands within `within` of the least value, as operations.plateau_centre."""
    weight, moment = 0.0, 0.0
    for k in range(first, last + 1):
        depth = least + within - x[k]
        if depth > 0.0:
            weight += depth
            moment += depth * (k - first)
    return first + moment / weight if weight > 0.0 else float(first)


@compiled
def quiet_end(x: FLOATS, last: int, width: int) -> int:
    """Last sample of the latest window of `width` up to `last` that is about as still as the stillest."""
    width = min(width, last)
    stillest, step = math.inf, max(width // 20, 1)
    for end in range(width, last + 1, step):
        stillest = min(stillest, np.ptp(x[end - width : end + 1]))
    for end in range(last, width - 1, -step):
        if np.ptp(x[end - width : end + 1]) <= STILL_TIMES * stillest + STILL_PTS:
            return end
    return last
