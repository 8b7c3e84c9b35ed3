"""When the weight moves on the plate about an impact: what the heels of a film are held against.

A heel that carries load is down, and a lead heel comes up only as its foot gives up load. How long after
that it does differs from foot to foot.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.swing.conditioning import BALL_AT, HEEL_AT
from warehouse.traces import SessionTrace

FLOATS = NDArray[np.float64]
SMOOTHED_S = 0.03
BACK_S = 2.0  # before impact, in which the swing begins; common practice, no source
STANDING = 0.9  # quantile of the lead foot's share in that time that counts as its share at address
HEEL_CARRIES = 0.06  # of the total load: more than that under the trail heel at impact is a fault


@dataclass(frozen=True)
class WeightMoves:
    """When the lead foot's share of the load is half way down, half way up again, and the trail heel's end.

    lead_light_s and lead_heavy_s are on the plate's clock, NaN where there is no such moment. The trail heel
    still carries over 6 % of the load until heel_late_s after impact: 0 for one that does not, or whose load
    is not known, infinite for one that carries it to the end.
    """

    lead_light_s: float
    lead_heavy_s: float
    heel_late_s: float


NO_MOVES = WeightMoves(math.nan, math.nan, 0.0)


def weight_moves(trace: SessionTrace, row: int, impact_s: float) -> WeightMoves:
    """The moments of one swing; those of `NO_MOVES` where its loads are not known all about impact."""
    part = slice(int(trace.offsets[row]), int(trace.offsets[row + 1]))
    rate = float(trace.rate_hz[row])
    if not {"lead_n", "trail_n"} <= trace.columns.keys() or not rate > 0.0:
        return NO_MOVES
    times = trace.times(row)
    near = times >= impact_s - BACK_S
    times, at = times[near], int(np.searchsorted(times[near], impact_s))

    def line(name: str) -> FLOATS:
        return _smoothed(trace.columns[name][part][near].astype(np.float64), round(SMOOTHED_S * rate) | 1)

    lead, trail = line("lead_n"), line("trail_n")
    total = lead + trail
    if not 0 < at < total.size or not np.all(total > 0.0):
        return NO_MOVES
    share = lead / total
    least = int(np.argmin(share[:at]))
    most = least + int(np.argmax(share[least:]))
    standing = float(np.quantile(share[: least + 1], STANDING))
    light = _passed(share[: least + 1][::-1], (standing + share[least]) / 2.0, up=True)
    heavy = _passed(share[least : most + 1], (share[most] + share[least]) / 2.0, up=True)
    late = 0.0
    if {"trail_heel_n", "trail_along_pct"} & trace.columns.keys():
        if "trail_heel_n" in trace.columns:
            heel = line("trail_heel_n")
        else:
            heel = trail * np.clip((BALL_AT - line("trail_along_pct")) / (BALL_AT - HEEL_AT), 0.0, 1.0)
        if np.all(np.isfinite(heel)):
            late = _passed(heel[at:], HEEL_CARRIES * float(np.median(total)), up=False) / rate
    return WeightMoves(
        float(times[least]) - light / rate, float(times[least]) + heavy / rate,
        math.inf if math.isnan(late) else late,
    )  # fmt: skip


def _passed(line: FLOATS, level: float, *, up: bool) -> float:
    """The first sample at which a line is over a level (up) or under it; NaN without one."""
    over = line >= level if up else line <= level
    return float(np.argmax(over)) if over.any() else math.nan


def _smoothed(line: FLOATS, width: int) -> FLOATS:
    """Running means; what is not known drawn as a straight line."""
    known = np.flatnonzero(np.isfinite(line))
    if not known.size:
        return line
    drawn = np.interp(np.arange(line.size), known, line[known])
    return np.convolve(np.pad(drawn, width // 2, mode="edge"), np.full(width, 1.0 / width), mode="valid")
