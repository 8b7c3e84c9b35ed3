"""Signals of one swing, sample by sample: bridged, filtered, and null again where nothing was known.

`columns` is the ten sample columns of the trace in the order of SAMPLE_COLUMNS, each (N,) float32, empty
when not delivered. `start` and `n` are the swing's samples in them. `lanes` is a work array (4, …) with
sample k at lanes[lane, pad + k]. `lines` (LINES, ≥ n) holds the finished signals, NaN for null; `known`
(10, ≥ n) says which delivered samples were there.
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing.compiled import compiled
from models.swing.filter import lowpass_lanes, padding

FLOATS = NDArray[np.float64]
MARKS = NDArray[np.uint8]
COLUMNS = tuple[NDArray[np.float32], ...]

PLACE_HZ, LOAD_HZ, HEEL_HZ, SWAY_HZ = 20.0, 50.0, 15.0, 5.0
FOOT_OFF = 0.05  # of body weight: under it a foot's centre of pressure is not defined
BOTH_LIGHT = 0.10  # of body weight: under it the share between the feet is not defined
HEEL_AT, BALL_AT = 15.0, 70.0  # % of foot length where a foot rests on heel and ball (two-point statics)
NONE, MEASURED, ESTIMATED = 0, 1, 2
LEAD_N, TRAIL_N, LEAD_ALONG, TRAIL_ALONG, LEAD_ACROSS, TRAIL_ACROSS, LEAD_HEEL, TRAIL_HEEL, COP_X, COP_Y = (
    range(10)
)
(
    LOAD_L, LOAD_T, TOTAL, SHARE, TRAIL, ALONG_L, ALONG_T, HEEL_L, HEEL_T, SLOW_L, SLOW_T, SWAY_X, SWAY_Y,
    SCRATCH,
) = range(14)  # fmt: skip
LINES = 14


@compiled
def heel_share_from_along(along: float) -> float:
    """Share (0…1) of a foot's load on its heel by two-point statics: clip((70 − along)/(70 − 15), 0, 1)."""
    return max(0.0, min(1.0, (BALL_AT - along) / (BALL_AT - HEEL_AT)))


@compiled
def bridge(
    source: NDArray[np.float32], start: int, n: int, gate: NDArray[np.float32], least: float, lane: FLOATS,
    pad: int, known: MARKS,
) -> int:  # fmt: skip
    """Copy samples start…start + n of `source` to lane[pad…]; unknown ones by a straight line, ends held.

    A sample is unknown when it is not finite or when `gate` (that foot's load, N; empty: no gate) is under
    `least`. `known[k]` tells which. Returns how many are known; with none the lane is 0.
    """
    out = lane[pad : pad + n]
    if source.size == 0:
        out[:] = 0.0
        known[:n] = 0
        return 0
    values = source[start : start + n]
    gates = gate[start : start + n] if gate.size > 0 else values
    lowest = least if gate.size > 0 else -math.inf
    count = 0
    for k in range(n):  # without branches: most swings have no gap
        value = np.float64(values[k])
        there = (value - value == 0.0) & (np.float64(gates[k]) >= lowest)
        out[k] = value
        known[k] = there
        count += there
    if count < n:
        bridge_gaps(out, n, known)
    return count


@compiled
def bridge_gaps(out: FLOATS, n: int, known: MARKS) -> None:
    """Replace unknown samples by a straight line between known ones, ends held, 0 when none is known."""
    before = -1
    for k in range(n):
        if not known[k]:
            continue
        if before < k - 1:
            left = out[k] if before < 0 else out[before]
            for gap in range(before + 1, k):
                out[gap] = left + (gap - before) / (k - before) * (out[k] - left)
        before = k
    held = out[before] if before >= 0 else 0.0
    for gap in range(before + 1, n):
        out[gap] = held


@compiled
def settle(lane: FLOATS, pad: int, n: int, known: MARKS, least: float, line: FLOATS) -> None:
    """Copy a filtered lane to a finished signal, never under `least`; null again where it was not known."""
    values = lane[pad : pad + n]
    for k in range(n):
        line[k] = max(values[k], least) if known[k] else math.nan


@compiled
def prepare_loads(
    columns: COLUMNS, start: int, n: int, fs: float, lanes: FLOATS, known: MARKS, lines: FLOATS
) -> bool:
    """Filter the loads at min(50 Hz, fs/4), never under 0; the heel loads too when both were measured.

    Returns whether they were.
    """
    cutoff = min(LOAD_HZ, fs / 4.0)
    pad = padding(cutoff, fs, n)
    none = columns[LEAD_N][:0]
    wanted = 4 if columns[LEAD_HEEL].size > 0 and columns[TRAIL_HEEL].size > 0 else 2
    least_found = n
    for lane in range(wanted):
        column = lane if lane < 2 else LEAD_HEEL + lane - 2
        found = bridge(columns[column], start, n, none, 0.0, lanes[lane], pad, known[column])
        least_found = min(least_found, found) if lane >= 2 else n
    measured = wanted == 4 and least_found > 0
    lowpass_lanes(lanes, 4 if measured else 2, pad, n, cutoff, fs)
    settle(lanes[0], pad, n, known[LEAD_N], 0.0, lines[LOAD_L])
    settle(lanes[1], pad, n, known[TRAIL_N], 0.0, lines[LOAD_T])
    if measured:
        settle(lanes[2], pad, n, known[LEAD_HEEL], 0.0, lines[HEEL_L])
        settle(lanes[3], pad, n, known[TRAIL_HEEL], 0.0, lines[HEEL_T])
    lead, trail, total = lines[LOAD_L], lines[LOAD_T], lines[TOTAL]
    for k in range(n):
        total[k] = lead[k] + trail[k]
    return measured


@compiled
def prepare_shares(n: int, threshold: float, lines: FLOATS) -> None:
    """Lead and trail share, %; null where both feet together carry under 10 % of `threshold` (N)."""
    light = BOTH_LIGHT * threshold
    lead, total, share, trail = lines[LOAD_L], lines[TOTAL], lines[SHARE], lines[TRAIL]
    for k in range(n):
        share[k] = 100.0 * lead[k] / total[k] if total[k] >= light else math.nan
        trail[k] = 100.0 - share[k]


@compiled
def prepare_places(
    columns: COLUMNS, start: int, n: int, fs: float, threshold: float, used: int, lanes: FLOATS,
    known: MARKS, lines: FLOATS,
) -> bool:  # fmt: skip
    """Filter along (and across, when `used` is 4 and not 2) at 20 Hz; null where the foot carries under 5 %.

    Returns whether both feet have some along. The bridged signals stay in `lanes`.
    """
    pad, off = padding(PLACE_HZ, fs, n), FOOT_OFF * threshold
    seen_both = True
    for lane in range(used):
        found = bridge(
            columns[LEAD_ALONG + lane], start, n, columns[lane % 2], off, lanes[lane], pad,
            known[LEAD_ALONG + lane],
        )  # fmt: skip
        seen_both = seen_both and (found > 0 or lane >= 2)
    lowpass_lanes(lanes, used, pad, n, PLACE_HZ, fs)
    settle(lanes[0], pad, n, known[LEAD_ALONG], -math.inf, lines[ALONG_L])
    settle(lanes[1], pad, n, known[TRAIL_ALONG], -math.inf, lines[ALONG_T])
    return seen_both


@compiled
def estimate_heels(n: int, fs: float, lanes: FLOATS, lines: FLOATS) -> None:
    """Heel loads by statics from the filtered (bridged) along in `lanes` and the filtered foot loads, N."""
    pad = padding(PLACE_HZ, fs, n)
    for foot in range(2):
        along, load, heel = lanes[foot, pad : pad + n], lines[LOAD_L + foot], lines[HEEL_L + foot]
        for k in range(n):
            heel[k] = load[k] * heel_share_from_along(along[k])


@compiled
def lift_heels(start: int, n: int, up: tuple[MARKS, MARKS], lines: FLOATS) -> None:
    """Clip over plate: a heel seen more than 15 mm up carries nothing, whatever an estimate says."""
    for foot in range(2):
        if up[foot].size > 0:
            seen, heel = up[foot][start : start + n], lines[HEEL_L + foot]
            for k in range(n):
                if seen[k]:
                    heel[k] = 0.0


@compiled
def prepare_slow_heels(n: int, fs: float, lanes: FLOATS, known: MARKS, lines: FLOATS) -> None:
    """Heel loads as % of the total load, filtered at 15 Hz, for slopes; null where a share is.

    The ratio is filtered, not its parts, so a surge of the total alone leaves no slope.
    """
    pad = padding(HEEL_HZ, fs, n)
    total, share = lines[TOTAL], lines[SHARE]
    for foot in range(2):
        out, heel, there = lanes[foot, pad : pad + n], lines[HEEL_L + foot], known[COP_X + foot]
        count = 0
        for k in range(n):
            out[k] = 100.0 * heel[k] / total[k]
            there[k] = not math.isnan(share[k] + heel[k])
            count += there[k]
        if count < n:
            bridge_gaps(out, n, there)
    lowpass_lanes(lanes, 2, pad, n, HEEL_HZ, fs)
    settle(lanes[0], pad, n, known[COP_X], -math.inf, lines[SLOW_L])
    settle(lanes[1], pad, n, known[COP_Y], -math.inf, lines[SLOW_T])


@compiled
def feet_to_floor(
    count: int, stance_mm: FLOATS, places: FLOATS, place_pad: int, pad: int, known: MARKS, lines: FLOATS,
    lanes: FLOATS,
) -> int:  # fmt: skip
    """Load-weighted mean of the two feet's points on the floor, mm, into lanes 0 and 1; how many are known.

    A foot's point: heel + along/100·(toe − heel) + across, square to that line, on the target's side.
    """
    x, y, weight = lanes[0, pad : pad + count], lanes[1, pad : pad + count], lanes[2, pad : pad + count]
    x[:], y[:], weight[:] = 0.0, 0.0, 0.0
    for foot in range(2):
        heel_x, heel_y = stance_mm[4 * foot], stance_mm[4 * foot + 1]
        axis_x, axis_y = stance_mm[4 * foot + 2] - heel_x, stance_mm[4 * foot + 3] - heel_y
        side = math.copysign(1.0 / math.hypot(axis_x, axis_y), axis_y)
        along_known, across_known = known[LEAD_ALONG + foot], known[LEAD_ACROSS + foot]
        along_of, across_of = places[foot, place_pad:], places[2 + foot, place_pad:]
        load_of = lines[LOAD_L + foot]
        for k in range(count):
            if along_known[k] and across_known[k]:
                along, across, load = along_of[k] / 100.0, across_of[k], load_of[k]
                x[k] += load * (heel_x + along * axis_x + across * side * axis_y)
                y[k] += load * (heel_y + along * axis_y - across * side * axis_x)
                weight[k] += load
    seen, held_x, held_y = 0, 0.0, 0.0
    for k in range(count):
        there = weight[k] > 0.0
        known[COP_X, k] = there
        known[COP_Y, k] = there
        if there:
            held_x, held_y = x[k] / weight[k], y[k] / weight[k]
            seen += 1
        x[k], y[k] = held_x, held_y
    return seen


@compiled
def prepare_sway(
    columns: COLUMNS, start: int, count: int, fs: float, stance_mm: FLOATS, places: FLOATS, place_pad: int,
    lanes: FLOATS, known: MARKS, lines: FLOATS,
) -> bool:  # fmt: skip
    """Whole-body centre of pressure of the first `count` samples, mm, at 5 Hz; False without one.

    As delivered, else from the two feet (`feet_to_floor`).
    """
    pad = padding(SWAY_HZ, fs, count)
    none = columns[LEAD_N][:0]
    if columns[COP_X].size > 0 and columns[COP_Y].size > 0:
        seen = bridge(columns[COP_X], start, count, none, 0.0, lanes[0], pad, known[COP_X])
        seen = min(seen, bridge(columns[COP_Y], start, count, none, 0.0, lanes[1], pad, known[COP_Y]))
    else:
        seen = feet_to_floor(count, stance_mm, places, place_pad, pad, known, lines, lanes)
    if seen == 0:
        return False
    lowpass_lanes(lanes, 2, pad, count, SWAY_HZ, fs)
    settle(lanes[0], pad, count, known[COP_X], -math.inf, lines[SWAY_X])
    settle(lanes[1], pad, count, known[COP_Y], -math.inf, lines[SWAY_Y])
    return True
