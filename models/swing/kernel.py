"""The compiled pass: samples of many swings in, one row of plate metrics a swing out.

One call takes the flat columns of a trace file and its offsets. It holds no lock of the interpreter
(`nogil`), allocates its work arrays once a call, and computes in float64 whatever it is given. What each
metric is stands in metrics.py; here is only the order of the work.
"""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing import columns as c
from models.swing import phases as p
from models.swing import signals as s
from models.swing.compiled import compiled
from models.swing.filter import padding
from models.swing.windows import mean_between

FLOATS = NDArray[np.float64]
MARKS = NDArray[np.uint8]


@compiled
def reduce_swings(
    columns: s.COLUMNS, offsets: NDArray[np.int64], rate_hz: FLOATS, event_s: FLOATS, stance_mm: FLOATS,
    body_n: float, up: tuple[MARKS, MARKS], metrics: FLOATS, codes: NDArray[np.int64], weight_n: FLOATS,
) -> None:  # fmt: skip
    """Fill `metrics`, `codes` and `weight_n`, one row a swing.

    Args:
        columns: the ten sample columns, each (N,) float32, empty where not delivered.
        offsets: (S + 1,) sample range of each swing.
        rate_hz: (S,).
        event_s: (S, 7) seconds after the swing's first sample, in swing order; NaN where missing.
        stance_mm: (8,) heel and toe points on the floor, lead then trail; empty when not given.
        body_n: body weight from the session, N; NaN when not given.
        up: two (N,) marks, 1 where a clip sees the lead or trail heel over 15 mm up; empty without a clip.
        metrics: (S, 35) out, NaN for null.
        codes: (S, 3) out: crossing, heel source, samples missing from the quiet address window.
        weight_n: (S,) out: mean of lead + trail over the quiet address window, NaN without one.

    Body weight is that mean, else `body_n`, else null. Thresholds (a foot off, both light) then fall back on
    the record's mean load, which is the weight of whoever is at rest before and after it.
    """
    longest, slowest_pad = 1, 1
    for i in range(rate_hz.size):
        longest = max(longest, offsets[i + 1] - offsets[i])
        slowest_pad = max(slowest_pad, padding(s.SWAY_HZ, rate_hz[i], offsets[i + 1] - offsets[i]))
    lanes, places = np.zeros((4, longest + 2 * slowest_pad)), np.zeros((4, longest + 2 * slowest_pad))
    known, lines = np.zeros((10, longest), dtype=np.uint8), np.zeros((s.LINES, longest))
    at = np.zeros(7, dtype=np.int64)
    own_cop = columns[s.COP_X].size > 0 and columns[s.COP_Y].size > 0
    feet_cop = not own_cop and stance_mm.size == 8
    feet_cop = feet_cop and columns[s.LEAD_ACROSS].size > 0 and columns[s.TRAIL_ACROSS].size > 0
    for i in range(rate_hz.size):
        start, n, fs, row = offsets[i], offsets[i + 1] - offsets[i], rate_hz[i], metrics[i]
        row[:] = math.nan
        codes[i, :] = 0
        weight_n[i] = math.nan
        p.tempo_row(row, event_s[i])
        if stance_mm.size == 8:
            row[c.STANCE_WIDTH] = math.hypot(stance_mm[0] - stance_mm[4], stance_mm[1] - stance_mm[5])
        if n < 2 or not fs > 0.0:
            continue
        for e in range(7):
            spot = np.rint(event_s[i, e] * fs)
            at[e] = int(spot) if 0.0 <= spot <= n - 1 else -1
        measured = s.prepare_loads(columns, start, n, fs, lanes, known, lines)
        whole = mean_between(lines[s.TOTAL], n, 0, n - 1)
        if not whole > 0.0:
            continue

        # body weight: the quiet address window, else the session's; for thresholds, else the record's mean
        half = int(np.rint(p.ADDRESS_HALF_S * fs))
        if at[p.ADDRESS] >= 0:
            first, last = at[p.ADDRESS] - half, at[p.ADDRESS] + half
            weight_n[i] = mean_between(lines[s.TOTAL], n, first, last)
            end = min(last, at[p.TAKEAWAY]) if at[p.TAKEAWAY] >= 0 else last
            codes[i, 2] = 2 * half + 1 - max(min(end, n - 1) - max(first, 0) + 1, 0)
        weight = weight_n[i] if weight_n[i] > 0.0 else body_n
        percent = 100.0 / weight if weight > 0.0 else math.nan
        threshold = weight if weight > 0.0 else whole

        s.prepare_shares(n, threshold, lines)
        placed = s.prepare_places(
            columns, start, n, fs, threshold, 4 if feet_cop else 2, places, known, lines
        )
        if measured:
            codes[i, 1] = s.MEASURED
        elif placed:
            codes[i, 1] = s.ESTIMATED
            s.estimate_heels(n, fs, places, lines)
        else:
            lines[s.HEEL_L, :n] = math.nan
            lines[s.HEEL_T, :n] = math.nan
        if codes[i, 1] != s.NONE:
            s.lift_heels(start, n, up, lines)

        p.address_row(row, n, fs, at, lines, codes[i, 1], s.FOOT_OFF * threshold)
        peak_at = p.back_row(row, n, fs, at, event_s[i, p.TOP] * fs, lines, percent)
        codes[i, 0] = p.down_row(row, n, fs, at, event_s[i, p.IMPACT] * fs, peak_at, lines, percent)
        p.strike_row(row, n, fs, at, event_s[i, p.IMPACT] * fs, lines, percent)
        if codes[i, 1] != s.NONE and at[p.ADDRESS] >= 0:
            s.prepare_slow_heels(n, fs, lanes, known, lines)
            row[c.BACK_OPPOSITION] = p.heels_opposed(lines, n, fs, at[p.TAKEAWAY], at[p.TOP], at[p.ADDRESS])
            row[c.DOWN_OPPOSITION] = p.heels_opposed(lines, n, fs, at[p.TOP], at[p.IMPACT], at[p.ADDRESS])
        if at[p.TAKEAWAY] >= int(np.rint(p.SWAY_S * fs)) and (own_cop or (feet_cop and placed)):
            count, pad = at[p.TAKEAWAY] + 1, padding(s.PLACE_HZ, fs, n)
            if s.prepare_sway(columns, start, count, fs, stance_mm, places, pad, lanes, known, lines):
                row[c.ADDRESS_SWAY] = p.sway_speed(lines, count, fs)
