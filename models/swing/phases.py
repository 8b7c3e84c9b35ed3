"""Metrics of one swing, phase by phase: compiled functions that fill one row of the kernel's output.

All take the finished signals `lines` of a swing of `n` samples at `fs` Hz (rows named in signals.py) and
`at`, the sample number of each event in swing order, −1 where the event is missing or outside the record.
NaN is null. Definitions: metrics.py.
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing import columns as c
from models.swing import signals as s
from models.swing import windows as w
from models.swing.compiled import compiled

FLOATS = NDArray[np.float64]
COUNTS = NDArray[np.int64]
ADDRESS, TAKEAWAY, MID_BACK, TOP, MID_DOWN, IMPACT, FINISH = range(7)
EVENT_HALF_S, ADDRESS_HALF_S, PEAK_HALF_S = 0.010, 0.150, 0.020
SLOPE_S, SWAY_S, ROCK_S = 0.060, 1.0, 0.5
PEAK_STANDS_S = 0.020  # a trail peak nearer the top than this is the top itself
PEAK_LEAST = 58.0  # % trail share under which there is nothing to come back from
HEEL_MOVES, HEEL_OVER_NOISE = 8.0, 15.0  # least move for an opposition: % of total, times its address noise


@compiled
def around(x: FLOATS, n: int, centre: int, half: int) -> float:
    """Mean over centre ± half samples; NaN when the event is missing (centre < 0)."""
    return w.mean_between(x, n, centre - half, centre + half) if centre >= 0 else math.nan


@compiled
def between(x: FLOATS, n: int, first: int, last: int) -> tuple[float, float]:
    """(least, highest) from one event to another; NaN when either is missing or they are out of order."""
    if first < 0 or last < first:
        return math.nan, math.nan
    return w.extremes_between(x, n, first, last)


@compiled
def lesser(a: float, b: float) -> float:
    """The smaller of two numbers; NaN when either is."""
    return math.nan if math.isnan(a + b) else min(a, b)


@compiled
def heel_share(along: float, heel: float, load: float, source: int, off: float) -> float:
    """Heel share, % of the foot's load; by statics unless measured; NaN when it carries under `off` N."""
    if source == s.MEASURED:
        return 100.0 * heel / load if load >= off and load > 0.0 else math.nan
    return 100.0 * s.heel_share_from_along(along) if not math.isnan(along) else math.nan


@compiled
def address_row(row: FLOATS, n: int, fs: float, at: COUNTS, lines: FLOATS, source: int, off: float) -> None:
    """Shares and places over ±150 ms at address; the rock of the last 0.5 s before takeaway."""
    half, centre = int(np.rint(ADDRESS_HALF_S * fs)), at[ADDRESS]
    along_l, along_t, ratio = lines[s.ALONG_L], lines[s.ALONG_T], lines[s.SCRATCH]
    row[c.ADDRESS_LEAD_SHARE] = around(lines[s.SHARE], n, centre, half)
    row[c.ADDRESS_LEAD_ALONG] = around(along_l, n, centre, half)
    row[c.ADDRESS_TRAIL_ALONG] = around(along_t, n, centre, half)
    if centre >= 0:
        first, last = max(centre - half, 0), min(centre + half, n - 1)
        for k in range(first, last + 1):
            ratio[k] = heel_share(along_l[k], lines[s.HEEL_L, k], lines[s.LOAD_L, k], source, off)
        row[c.ADDRESS_LEAD_HEEL] = w.mean_between(ratio, n, first, last)
        for k in range(first, last + 1):
            ratio[k] = heel_share(along_t[k], lines[s.HEEL_T, k], lines[s.LOAD_T, k], source, off)
        row[c.ADDRESS_TRAIL_HEEL] = w.mean_between(ratio, n, first, last)
    back = int(np.rint(ROCK_S * fs))
    if at[TAKEAWAY] >= back:
        low_l, high_l = w.extremes_between(along_l, n, at[TAKEAWAY] - back, at[TAKEAWAY])
        low_t, high_t = w.extremes_between(along_t, n, at[TAKEAWAY] - back, at[TAKEAWAY])
        row[c.START_ROCK] = -lesser(low_l - high_l, low_t - high_t)


@compiled
def back_row(
    row: FLOATS, n: int, fs: float, at: COUNTS, exact_top: float, lines: FLOATS, percent: float
) -> float:
    """Takeaway to top: trail peak, re-centring, heels, both feet heelward. Returns the trail peak's time."""
    half, quiet = int(np.rint(EVENT_HALF_S * fs)), int(np.rint(ADDRESS_HALF_S * fs))
    start, top = at[TAKEAWAY], at[TOP]
    along_l, along_t, heel_l = lines[s.ALONG_L], lines[s.ALONG_T], lines[s.HEEL_L]
    row[c.MID_BACK_TRAIL] = around(lines[s.TRAIL], n, at[MID_BACK], half)
    row[c.TOP_LEAD] = around(lines[s.SHARE], n, top, half)
    peak_at = math.nan
    if 0 <= start <= top:
        width = int(np.rint(PEAK_HALF_S * fs))
        peak, peak_at = w.rolling_peak(lines[s.TRAIL], n, start, top, width, lines[s.SCRATCH])
        ahead = max((exact_top - peak_at) / fs, 0.0) if not math.isnan(peak_at) else math.nan
        row[c.TRAIL_PEAK], row[c.TRAIL_PEAK_LEAD] = peak, ahead
        if peak >= PEAK_LEAST:
            row[c.RECENTRE] = peak - (100.0 - row[c.TOP_LEAD]) if ahead >= PEAK_STANDS_S - 1e-9 else 0.0
    least, _ = between(heel_l, n, start, top)
    row[c.LEAD_HEEL_UNLOAD] = (around(heel_l, n, at[ADDRESS], quiet) - least) * percent
    least, _ = between(along_t, n, start, top)
    row[c.TRAIL_HEEL_SINK] = row[c.ADDRESS_TRAIL_ALONG] - least
    least_l, _ = between(along_l, n, at[MID_BACK], top)
    least_t, _ = between(along_t, n, at[MID_BACK], top)
    row[c.BACK_BOTH_HEELWARD] = lesser(
        row[c.ADDRESS_LEAD_ALONG] - least_l, row[c.ADDRESS_TRAIL_ALONG] - least_t
    )
    return peak_at


@compiled
def down_row(
    row: FLOATS, n: int, fs: float, at: COUNTS, exact_impact: float, peak_at: float, lines: FLOATS,
    percent: float,
) -> int:  # fmt: skip
    """Top to impact: push, crossing, transfer, heels, both feet to the toes. Returns the crossing's code."""
    half = int(np.rint(EVENT_HALF_S * fs))
    top, down, impact = at[TOP], at[MID_DOWN], at[IMPACT]
    share, load_t, heel_t = lines[s.SHARE], lines[s.LOAD_T], lines[s.HEEL_T]
    along_l, along_t = lines[s.ALONG_L], lines[s.ALONG_T]
    least, _ = between(share, n, top, down)
    row[c.TRAIL_PUSH] = row[c.TOP_LEAD] - least
    _, highest = between(load_t, n, top, down)
    row[c.TRAIL_PUSH_BW] = (highest - around(load_t, n, top, half)) * percent
    row[c.MID_DOWN_LEAD] = around(share, n, down, half)
    row[c.TRAIL_HEEL_UNLOAD] = (around(heel_t, n, top, half) - around(heel_t, n, down, half)) * percent
    row[c.DOWN_BOTH_TOEWARD] = lesser(
        around(along_l, n, down, half) - around(along_l, n, top, half),
        around(along_t, n, down, half) - around(along_t, n, top, half),
    )
    if not 0 <= top < impact:
        return w.NULL
    code, crossed_at = w.last_crossing(share, n, top, impact, row[c.TOP_LEAD])
    if code == w.CROSSED:
        row[c.CROSSING] = (exact_impact - crossed_at) / fs
    if not math.isnan(peak_at):
        points = max(int(np.rint(SLOPE_S * fs)) + 1, 2)
        row[c.TRANSFER_RATE] = w.steepest_slope(share, n, int(np.rint(peak_at)), impact, points, fs)
    return code


@compiled
def strike_row(
    row: FLOATS, n: int, fs: float, at: COUNTS, exact_impact: float, lines: FLOATS, percent: float
) -> None:
    """Impact and finish: shares, trail heel, lead foot to its heel, highest total load."""
    half = int(np.rint(EVENT_HALF_S * fs))
    top, down, impact, finish = at[TOP], at[MID_DOWN], at[IMPACT], at[FINISH]
    row[c.IMPACT_LEAD] = around(lines[s.SHARE], n, impact, half)
    row[c.IMPACT_GAIN] = row[c.IMPACT_LEAD] - row[c.MID_DOWN_LEAD]
    row[c.IMPACT_TRAIL_HEEL] = around(lines[s.HEEL_T], n, impact, half) * percent
    row[c.LEAD_HEELWARD] = around(lines[s.ALONG_L], n, down, half) - around(lines[s.ALONG_L], n, impact, half)
    row[c.FINISH_LEAD] = around(lines[s.SHARE], n, finish, half)
    if top < 0:
        return
    end = finish if finish > top else n - 1
    _, highest = w.extremes_between(lines[s.TOTAL], n, top, end)
    row[c.PEAK_VERTICAL] = highest * percent
    if impact >= 0 and not math.isnan(highest * percent):
        peak_at = w.plateau_centre(lines[s.TOTAL], top, end, highest, w.PLATEAU / percent)
        row[c.PEAK_VERTICAL_LEAD] = (exact_impact - peak_at) / fs


@compiled
def tempo_row(row: FLOATS, event_s: FLOATS) -> None:
    """Backswing and downswing durations and their ratio, from the event times alone; null unless positive."""
    back, down = event_s[TOP] - event_s[TAKEAWAY], event_s[IMPACT] - event_s[TOP]
    if back > 0.0:
        row[c.BACKSWING] = back
    if down > 0.0:
        row[c.DOWNSWING] = down
    row[c.TEMPO] = row[c.BACKSWING] / row[c.DOWNSWING]


@compiled
def heels_opposed(lines: FLOATS, n: int, fs: float, first: int, last: int, address: int) -> float:
    """Heel opposition over a phase; NaN unless each heel moves by 8 % of total and 15 × its address noise."""
    if first < 0 or last <= first:
        return math.nan
    quiet = int(np.rint(ADDRESS_HALF_S * fs))
    for heel in (lines[s.SLOW_L], lines[s.SLOW_T]):
        low, high = w.extremes_between(heel, n, first, last)
        noise = w.spread_between(heel, n, address - quiet, address + quiet)
        if not (high - low >= HEEL_MOVES and high - low >= HEEL_OVER_NOISE * noise):
            return math.nan
    return w.opposition(lines[s.SLOW_L], lines[s.SLOW_T], n, first, last)


@compiled
def sway_speed(lines: FLOATS, count: int, fs: float) -> float:
    """Path length over time of the quietest exact 1.0 s among the first `count` samples, mm/s."""
    steps = int(np.rint(SWAY_S * fs))
    return w.quietest_path(lines[s.SWAY_X], lines[s.SWAY_Y], count, steps) * fs / steps
