"""Signals of one swing, sample by sample: bridged, filtered, and null again where nothing was known.

`columns` is the ten sample columns of the trace in the order of SAMPLE_COLUMNS, each (N,) float32, empty
when not delivered. `start` and `n` are the swing's samples in them. Rows of a four-lane work array: sample k
stands in row pad + k. `lines` (LINES, ≥ n) holds the finished signals, NaN for null; `known` (10, ≥ n) says
which delivered samples were there.
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing.compiled import compiled
from models.swing.filter import lowpass_rows, padding

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
    source: NDArray[np.float32], start: int, n: int, gate: NDArray[np.float32], least: float,
    buf: FLOATS, pad: int, lane: int, known: MARKS,
) -> int:  # fmt: skip
    """Copy samples start…start + n of `source` into one lane; unknown ones by a straight line, ends held.

    A sample is unknown when it is not finite or when `gate` (that foot's load, N; empty: no gate) is under
    `least`. `known[k]` tells which. Returns how many are known; with none the lane is 0.
    """
    count, before = 0, -1
    for k in range(n):
        value = np.float64(source[start + k]) if source.size > 0 else math.nan
        if not math.isfinite(value) or (gate.size > 0 and not np.float64(gate[start + k]) >= least):
            known[k] = 0
            continue
        known[k] = 1
        count += 1
        buf[pad + k, lane] = value
        if before < k - 1:
            left = value if before < 0 else buf[pad + before, lane]
            for gap in range(before + 1, k):
                buf[pad + gap, lane] = left + (gap - before) / (k - before) * (value - left)
        before = k
    held = buf[pad + before, lane] if before >= 0 else 0.0
    for gap in range(before + 1, n):
        buf[pad + gap, lane] = held
    return count


@compiled
def prepare_loads(
    columns: COLUMNS, start: int, n: int, fs: float, buf: FLOATS, known: MARKS, lines: FLOATS
) -> bool:
    """Filter the loads at min(50 Hz, fs/4), never under 0; the heel loads too when both were measured.

    Returns whether they were. The raw heel loads and total stay for `prepare_slow_heels` in `slow`.
    """
    cutoff = min(LOAD_HZ, fs / 4.0)
    pad = padding(cutoff, fs, n)
    none = columns[LEAD_N][:0]
    bridge(columns[LEAD_N], start, n, none, 0.0, buf, pad, 0, known[LEAD_N])
    bridge(columns[TRAIL_N], start, n, none, 0.0, buf, pad, 1, known[TRAIL_N])
    measured = columns[LEAD_HEEL].size > 0 and columns[TRAIL_HEEL].size > 0
    if measured:
        found_l = bridge(columns[LEAD_HEEL], start, n, none, 0.0, buf, pad, 2, known[LEAD_HEEL])
        found_t = bridge(columns[TRAIL_HEEL], start, n, none, 0.0, buf, pad, 3, known[TRAIL_HEEL])
        measured = found_l > 0 and found_t > 0
    lowpass_rows(buf, pad, n, cutoff, fs)
    for k in range(n):
        lines[LOAD_L, k] = max(buf[pad + k, 0], 0.0) if known[LEAD_N, k] else math.nan
        lines[LOAD_T, k] = max(buf[pad + k, 1], 0.0) if known[TRAIL_N, k] else math.nan
        lines[TOTAL, k] = lines[LOAD_L, k] + lines[LOAD_T, k]
        if measured:
            lines[HEEL_L, k] = max(buf[pad + k, 2], 0.0) if known[LEAD_HEEL, k] else math.nan
            lines[HEEL_T, k] = max(buf[pad + k, 3], 0.0) if known[TRAIL_HEEL, k] else math.nan
    return measured


@compiled
def prepare_shares(n: int, threshold: float, lines: FLOATS) -> None:
    """Lead and trail share, %; null where both feet together carry under 10 % of `threshold` (N)."""
    light = BOTH_LIGHT * threshold
    for k in range(n):
        total = lines[TOTAL, k]
        lines[SHARE, k] = 100.0 * lines[LOAD_L, k] / total if total >= light else math.nan
        lines[TRAIL, k] = 100.0 - lines[SHARE, k]


@compiled
def prepare_places(
    columns: COLUMNS, start: int, n: int, fs: float, threshold: float, lanes: int, buf: FLOATS,
    known: MARKS, lines: FLOATS,
) -> bool:  # fmt: skip
    """Filter along (and across, when `lanes` is 4 and not 2) at 20 Hz; null where the foot carries under 5 %.

    Returns whether both feet have some along.
    """
    pad, off = padding(PLACE_HZ, fs, n), FOOT_OFF * threshold
    lead, trail = columns[LEAD_N], columns[TRAIL_N]
    seen_l = bridge(columns[LEAD_ALONG], start, n, lead, off, buf, pad, 0, known[LEAD_ALONG])
    seen_t = bridge(columns[TRAIL_ALONG], start, n, trail, off, buf, pad, 1, known[TRAIL_ALONG])
    if lanes == 4:
        bridge(columns[LEAD_ACROSS], start, n, lead, off, buf, pad, 2, known[LEAD_ACROSS])
        bridge(columns[TRAIL_ACROSS], start, n, trail, off, buf, pad, 3, known[TRAIL_ACROSS])
    lowpass_rows(buf, pad, n, PLACE_HZ, fs)
    for k in range(n):
        lines[ALONG_L, k] = buf[pad + k, 0] if known[LEAD_ALONG, k] else math.nan
        lines[ALONG_T, k] = buf[pad + k, 1] if known[TRAIL_ALONG, k] else math.nan
    return seen_l > 0 and seen_t > 0


@compiled
def estimate_heels(n: int, fs: float, buf: FLOATS, lines: FLOATS) -> None:
    """Heel loads by statics from the filtered (bridged) along in `buf` and the filtered foot loads, N."""
    pad = padding(PLACE_HZ, fs, n)
    for k in range(n):
        lines[HEEL_L, k] = lines[LOAD_L, k] * heel_share_from_along(buf[pad + k, 0])
        lines[HEEL_T, k] = lines[LOAD_T, k] * heel_share_from_along(buf[pad + k, 1])


@compiled
def lift_heels(start: int, n: int, up: tuple[MARKS, MARKS], lines: FLOATS) -> None:
    """Clip over plate: a heel seen more than 15 mm up carries nothing, whatever an estimate says."""
    for k in range(n):
        if up[0].size > 0 and up[0][start + k]:
            lines[HEEL_L, k] = 0.0
        if up[1].size > 0 and up[1][start + k]:
            lines[HEEL_T, k] = 0.0


@compiled
def prepare_slow_heels(n: int, fs: float, threshold: float, buf: FLOATS, lines: FLOATS) -> None:
    """Heel loads as % of total load, loads and total filtered again at 15 Hz, for slopes.

    The 15 Hz filter runs on the heel loads already filtered at 50 Hz: the second pass adds nothing above
    15 Hz and both loads and total see the same filters, so a surge of the total alone leaves no slope.
    """
    pad = padding(HEEL_HZ, fs, n)
    light = BOTH_LIGHT * threshold
    held_l, held_t, held = 0.0, 0.0, 0.0
    for k in range(n):
        held_l = lines[HEEL_L, k] if not math.isnan(lines[HEEL_L, k]) else held_l
        held_t = lines[HEEL_T, k] if not math.isnan(lines[HEEL_T, k]) else held_t
        held = lines[TOTAL, k] if not math.isnan(lines[TOTAL, k]) else held
        buf[pad + k, 0], buf[pad + k, 1], buf[pad + k, 2], buf[pad + k, 3] = held_l, held_t, held, 0.0
    lowpass_rows(buf, pad, n, HEEL_HZ, fs)
    for k in range(n):
        total = buf[pad + k, 2]
        there = lines[TOTAL, k] >= light and total >= light
        lines[SLOW_L, k] = 100.0 * buf[pad + k, 0] / total if there and lines[HEEL_L, k] >= 0.0 else math.nan
        lines[SLOW_T, k] = 100.0 * buf[pad + k, 1] / total if there and lines[HEEL_T, k] >= 0.0 else math.nan


@compiled
def prepare_sway(
    columns: COLUMNS, start: int, count: int, fs: float, stance_mm: FLOATS, places: FLOATS, place_pad: int,
    buf: FLOATS, known: MARKS, lines: FLOATS,
) -> bool:  # fmt: skip
    """Whole-body centre of pressure of the first `count` samples, mm, filtered at 5 Hz; False without one.

    Delivered, else the load-weighted mean of the two feet's points on the floor:
    heel + along/100·(toe − heel) + across along the floor normal of that line on the target's side.
    """
    pad = padding(SWAY_HZ, fs, count)
    none = columns[LEAD_N][:0]
    if columns[COP_X].size > 0 and columns[COP_Y].size > 0:
        seen_x = bridge(columns[COP_X], start, count, none, 0.0, buf, pad, 0, known[COP_X])
        seen_y = bridge(columns[COP_Y], start, count, none, 0.0, buf, pad, 1, known[COP_Y])
        if seen_x == 0 or seen_y == 0:
            return False
    else:
        seen, held_x, held_y = 0, 0.0, 0.0
        for k in range(count):
            weight, x, y = 0.0, 0.0, 0.0
            for foot in range(2):
                if not (known[LEAD_ALONG + foot, k] and known[LEAD_ACROSS + foot, k]):
                    continue
                heel_x, heel_y = stance_mm[4 * foot], stance_mm[4 * foot + 1]
                axis_x, axis_y = stance_mm[4 * foot + 2] - heel_x, stance_mm[4 * foot + 3] - heel_y
                length = math.hypot(axis_x, axis_y)
                side = 1.0 if axis_y >= 0.0 else -1.0
                along, across = places[place_pad + k, foot] / 100.0, places[place_pad + k, 2 + foot]
                load = lines[LOAD_L + foot, k]
                x += load * (heel_x + along * axis_x + side * across * axis_y / length)
                y += load * (heel_y + along * axis_y - side * across * axis_x / length)
                weight += load
            known[COP_X, k] = weight > 0.0
            if weight > 0.0:
                held_x, held_y = x / weight, y / weight
                seen += 1
            known[COP_Y, k] = known[COP_X, k]
            buf[pad + k, 0], buf[pad + k, 1] = held_x, held_y
        if seen == 0:
            return False
    lowpass_rows(buf, pad, count, SWAY_HZ, fs)
    for k in range(count):
        there = known[COP_X, k] and known[COP_Y, k]
        lines[SWAY_X, k] = buf[pad + k, 0] if there else math.nan
        lines[SWAY_Y, k] = buf[pad + k, 1] if there else math.nan
    return True
