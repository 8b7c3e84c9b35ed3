"""Signals of one swing, sample by sample: gaps bridged, filtered, and null again where nothing was known.

A Record is one swing's samples with the work arrays they are conditioned in. Conditioning fills `lines`, the
finished signals, one row each (rows are named below), NaN where null.
"""

import math
from typing import NamedTuple

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
    LOAD_L, LOAD_T, TOTAL, SHARE, TRAIL, ALONG_L, ALONG_T, HEEL_L, HEEL_T, HEEL_SHARE_L, HEEL_SHARE_T, PART_L,
    PART_T, BODY_X, BODY_Y,
) = range(15)  # fmt: skip
LINES = 15


class Record(NamedTuple):
    """One swing's samples and its work arrays; a tuple, which compiled code can take.

    Sample k of the signal being filtered is lanes[lane, pad + k]; `places` keeps the bridged and filtered
    places of the feet after `lanes` is used for the next signals.
    """

    columns: COLUMNS  # the ten of SAMPLE_COLUMNS, each (N,) float32, empty when not delivered
    start: int  # first sample of the swing in them
    n: int  # its samples
    fs: float  # Hz
    lanes: FLOATS  # (4, ≥ n + 2 · padding)
    places: FLOATS  # the same
    known: MARKS  # (10, ≥ n) which delivered samples were there
    lines: FLOATS  # (LINES, ≥ n) finished signals


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
def prepare_loads(r: Record) -> tuple[bool, bool]:
    """Filter the loads at min(50 Hz, fs/4), never under 0; the heel loads too when both were measured.

    Returns whether they were, and whether the mean of the total load is over 0: half of it is known, and the
    feet ever pressed.
    """
    cutoff = min(LOAD_HZ, r.fs / 4.0)
    pad = padding(cutoff, r.fs, r.n)
    none = r.columns[LEAD_N][:0]
    wanted = 4 if r.columns[LEAD_HEEL].size > 0 and r.columns[TRAIL_HEEL].size > 0 else 2
    fewest = r.n
    for lane in range(wanted):
        column = lane if lane < 2 else LEAD_HEEL + lane - 2
        found = bridge(r.columns[column], r.start, r.n, none, 0.0, r.lanes[lane], pad, r.known[column])
        fewest = min(fewest, found) if lane >= 2 else r.n
    measured = wanted == 4 and fewest > 0
    lowpass_lanes(r.lanes, 4 if measured else 2, pad, r.n, cutoff, r.fs)
    settle(r.lanes[0], pad, r.n, r.known[LEAD_N], 0.0, r.lines[LOAD_L])
    settle(r.lanes[1], pad, r.n, r.known[TRAIL_N], 0.0, r.lines[LOAD_T])
    if measured:
        settle(r.lanes[2], pad, r.n, r.known[LEAD_HEEL], 0.0, r.lines[HEEL_L])
        settle(r.lanes[3], pad, r.n, r.known[TRAIL_HEEL], 0.0, r.lines[HEEL_T])
    lead, trail, total = r.lines[LOAD_L], r.lines[LOAD_T], r.lines[TOTAL]
    found, pressed = 0, 0
    for k in range(r.n):
        both = lead[k] + trail[k]
        total[k] = both
        found += not math.isnan(both)
        pressed += both > 0.0
    return measured, 2 * found >= r.n and pressed > 0


@compiled
def prepare_shares(n: int, threshold: float, lines: FLOATS) -> None:
    """Lead and trail share, %; null where both feet together carry under 10 % of `threshold` (N)."""
    light = BOTH_LIGHT * threshold
    lead, total, share, trail = lines[LOAD_L], lines[TOTAL], lines[SHARE], lines[TRAIL]
    for k in range(n):
        share[k] = 100.0 * lead[k] / total[k] if total[k] >= light else math.nan
        trail[k] = 100.0 - share[k]


@compiled
def prepare_places(r: Record, threshold: float, used: int) -> bool:
    """Filter along (and across, when `used` is 4 and not 2) at 20 Hz; null where the foot carries under 5 %.

    Returns whether both feet have some along. The bridged signals stay in `places`.
    """
    pad, off = padding(PLACE_HZ, r.fs, r.n), FOOT_OFF * threshold
    seen_both = True
    for lane in range(used):
        column = LEAD_ALONG + lane
        found = bridge(
            r.columns[column], r.start, r.n, r.columns[lane % 2], off, r.places[lane], pad, r.known[column]
        )
        seen_both = seen_both and (found > 0 or lane >= 2)
    lowpass_lanes(r.places, used, pad, r.n, PLACE_HZ, r.fs)
    settle(r.places[0], pad, r.n, r.known[LEAD_ALONG], -math.inf, r.lines[ALONG_L])
    settle(r.places[1], pad, r.n, r.known[TRAIL_ALONG], -math.inf, r.lines[ALONG_T])
    return seen_both


@compiled
def prepare_heels(r: Record, source: int, up: tuple[MARKS, MARKS]) -> None:
    """Heel loads as measured, or estimated by statics from the filtered along and foot loads, N; else null.

    Clip over plate: a heel seen more than 15 mm up carries nothing, whatever an estimate says.
    """
    pad = padding(PLACE_HZ, r.fs, r.n)
    for foot in range(2):
        heel, load, along = r.lines[HEEL_L + foot], r.lines[LOAD_L + foot], r.places[foot, pad : pad + r.n]
        if source == ESTIMATED:
            for k in range(r.n):
                heel[k] = load[k] * heel_share_from_along(along[k])
        elif source == NONE:
            heel[: r.n] = math.nan
        if source != NONE and up[foot].size > 0:
            seen = up[foot][r.start : r.start + r.n]
            for k in range(r.n):
                if seen[k]:
                    heel[k] = 0.0


@compiled
def prepare_heel_shares(r: Record, foot: int, source: int, off: float) -> None:
    """Heel load, % of that foot's load: all of it at once, as many metrics ask for parts that overlap.

    By two-point statics from along unless heel loads are measured; null where the foot carries under `off` N.
    """
    along, heel = r.lines[ALONG_L + foot], r.lines[HEEL_L + foot]
    load, share = r.lines[LOAD_L + foot], r.lines[HEEL_SHARE_L + foot]
    if source == MEASURED:
        for k in range(r.n):
            known = (load[k] >= off) & (load[k] > 0.0)
            share[k] = 100.0 * heel[k] / load[k] if known else math.nan
    else:
        for k in range(r.n):
            share[k] = 100.0 * heel_share_from_along(along[k]) if not math.isnan(along[k]) else math.nan


@compiled
def prepare_heel_parts(r: Record, source: int) -> None:
    """Heel loads as % of the total load, filtered at 15 Hz, for slopes; null where a share is.

    The ratio is filtered, not its parts, so a surge of the total alone leaves no slope.
    """
    if source == NONE:
        r.lines[PART_L, : r.n] = math.nan
        r.lines[PART_T, : r.n] = math.nan
        return
    pad = padding(HEEL_HZ, r.fs, r.n)
    total, share = r.lines[TOTAL], r.lines[SHARE]
    for foot in range(2):
        out, heel, there = r.lanes[foot, pad : pad + r.n], r.lines[HEEL_L + foot], r.known[COP_X + foot]
        count = 0
        for k in range(r.n):
            out[k] = 100.0 * heel[k] / total[k]
            there[k] = not math.isnan(share[k] + heel[k])
            count += there[k]
        if count < r.n:
            bridge_gaps(out, r.n, there)
    lowpass_lanes(r.lanes, 2, pad, r.n, HEEL_HZ, r.fs)
    settle(r.lanes[0], pad, r.n, r.known[COP_X], -math.inf, r.lines[PART_L])
    settle(r.lanes[1], pad, r.n, r.known[COP_Y], -math.inf, r.lines[PART_T])


@compiled
def feet_to_floor(r: Record, count: int, pad: int, stance_mm: FLOATS) -> int:
    """Load-weighted mean of the two feet's points on the floor, mm, into lanes 0 and 1; how many are known.

    A foot's point: heel + along/100·(toe − heel) + across, square to that line, on the target's side.
    """
    x, y = r.lanes[0, pad : pad + count], r.lanes[1, pad : pad + count]
    weight = r.lanes[2, pad : pad + count]
    x[:], y[:], weight[:] = 0.0, 0.0, 0.0
    place_pad = padding(PLACE_HZ, r.fs, r.n)
    for foot in range(2):
        heel_x, heel_y = stance_mm[4 * foot], stance_mm[4 * foot + 1]
        axis_x, axis_y = stance_mm[4 * foot + 2] - heel_x, stance_mm[4 * foot + 3] - heel_y
        side = math.copysign(1.0 / math.hypot(axis_x, axis_y), axis_y)
        along_known, across_known = r.known[LEAD_ALONG + foot], r.known[LEAD_ACROSS + foot]
        along_of, across_of = r.places[foot, place_pad:], r.places[2 + foot, place_pad:]
        load_of = r.lines[LOAD_L + foot]
        for k in range(count):
            if along_known[k] and across_known[k]:
                along, across, load = along_of[k] / 100.0, across_of[k], load_of[k]
                x[k] += load * (heel_x + along * axis_x + across * side * axis_y)
                y[k] += load * (heel_y + along * axis_y - across * side * axis_x)
                weight[k] += load
    seen, held_x, held_y = 0, 0.0, 0.0
    for k in range(count):
        there = weight[k] > 0.0
        r.known[COP_X, k] = there
        r.known[COP_Y, k] = there
        if there:
            held_x, held_y = x[k] / weight[k], y[k] / weight[k]
            seen += 1
        x[k], y[k] = held_x, held_y
    return seen


@compiled
def prepare_body(r: Record, count: int, stance_mm: FLOATS) -> bool:
    """Whole-body centre of pressure of the first `count` samples, mm, at 5 Hz; False without one.

    As delivered, else from the two feet (`feet_to_floor`).
    """
    pad = padding(SWAY_HZ, r.fs, count)
    none = r.columns[LEAD_N][:0]
    if r.columns[COP_X].size > 0 and r.columns[COP_Y].size > 0:
        seen = bridge(r.columns[COP_X], r.start, count, none, 0.0, r.lanes[0], pad, r.known[COP_X])
        seen = min(seen, bridge(r.columns[COP_Y], r.start, count, none, 0.0, r.lanes[1], pad, r.known[COP_Y]))
    else:
        seen = feet_to_floor(r, count, pad, stance_mm)
    if seen == 0:
        return False
    lowpass_lanes(r.lanes, 2, pad, count, SWAY_HZ, r.fs)
    settle(r.lanes[0], pad, count, r.known[COP_X], -math.inf, r.lines[BODY_X])
    settle(r.lanes[1], pad, count, r.known[COP_Y], -math.inf, r.lines[BODY_Y])
    return True
