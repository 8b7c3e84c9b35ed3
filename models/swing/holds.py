"""Steadiness holds: how steadily someone stood on the plates, from the whole-body centre of pressure.

The centre of pressure (mm: x toward the target, y toward the toes) is the delivered one, else the
load-weighted mean of the two feet's points on the floor; filtered at 10 Hz, zero-phase, cut by 1 s at each
end. Over n samples and T s:

    path     Σ √(Δx² + Δy²), mm                          speed    path / T, mm/s
    RMS      √(Σ (v − v̄)² / n), mm; along is y (heel to toe), across is x
    ellipse  π · χ²(0.95; 2 df) · √det S, mm²: the 95 % prediction ellipse, S the covariance (n − 1) and
             χ²(0.95; 2) = −2·ln 0.05 = 5.991 (Schubert & Kirchner 2014, Gait & Posture 39, 518–522)

In a hold that is for rocking to and fro, only the place where it ends in a steady stand is measured.

Path and speed grow with the sampling noise and the area with the length, so only holds of the same eyes,
device and length can be compared.
"""

import math
from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing import rocking
from models.swing.clock import on_uniform_grid
from models.swing.filter import lowpass
from warehouse.traces import SessionTrace
from warehouse.vocabulary import FEET

FLOATS = NDArray[np.float64]
HOLD_HZ = 10.0
TRIM_S, LEAST_S = 1.0, 5.0  # cut off at each end; the least that must remain
CHI2_95 = -2.0 * math.log(0.05)
FOOT_OFF = 0.05  # of the mean load: under it a foot's centre of pressure is not defined
MOST_LOST = 0.05  # part of a hold that may be interpolated
SWAY = ("path_mm", "speed_mm_s", "rms_along_mm", "rms_across_mm", "ellipse_mm2")
MEASURES = (*SWAY, *rocking.MEASURES)
SCHEMA = {"session": pl.String, "swing_no": pl.Int32} | dict.fromkeys(MEASURES, pl.Float64)
NO_ROWS = pl.DataFrame(schema=SCHEMA)


def hold_rows(
    trace: SessionTrace | None, holds: pl.DataFrame | None, stance_mm: Sequence[float] | None
) -> pl.DataFrame:
    """session, swing_no and the measures of every hold; null where they can't be formed.

    `holds` are rows of academy.hold of this session (swing_no, rocking, from_s, to_s on the plate's clock).
    """
    if trace is None or holds is None or holds.is_empty():
        return NO_ROWS
    uniform = on_uniform_grid(trace)
    row_of = {number: row for row, number in enumerate(uniform.swing_no.tolist())}
    rows = []
    for hold in holds.iter_rows(named=True):
        row = row_of.get(hold["swing_no"])
        found: dict[str, float | None] = dict.fromkeys(MEASURES)
        if row is not None:
            rate_hz, first = uniform.rate_hz[row], uniform.t0_s[row]
            span = hold["from_s"] - first, hold["to_s"] - first
            if hold["rocking"]:
                found |= rocking.steady_place(_between(uniform, row, *span), rate_hz)
            elif (cop := whole_body_cop(uniform, row, stance_mm)) is not None:
                found |= measures(cop, rate_hz, *span)
        rows.append({"session": trace.session, "swing_no": hold["swing_no"]} | found)
    return pl.DataFrame(rows, schema=SCHEMA)


def _between(trace: SessionTrace, row: int, from_s: float, to_s: float) -> dict[str, FLOATS]:
    """The columns between two times, s after the first sample."""
    start, end = int(trace.offsets[row]), int(trace.offsets[row + 1])
    first, last = (start + round(at * trace.rate_hz[row]) for at in (from_s, to_s))
    part = slice(max(first, start), min(last + 1, end))
    return {name: values[part].astype(np.float64) for name, values in trace.columns.items()}


def whole_body_cop(trace: SessionTrace, row: int, stance_mm: Sequence[float] | None) -> FLOATS | None:
    """(2, n) mm, NaN where not known: x toward the target, y toward the toes; None without what it takes.

    From the feet: each point is heel + along/100·(toe − heel) + across, square to that line, on the target's
    side; the mean is weighted by the loads.
    """
    part = slice(int(trace.offsets[row]), int(trace.offsets[row + 1]))
    given = {name: values[part].astype(np.float64) for name, values in trace.columns.items()}
    if "cop_x_mm" in given and "cop_y_mm" in given:
        return np.stack([given["cop_x_mm"], given["cop_y_mm"]])
    wanted = [f"{foot}_{name}" for foot in FEET for name in ("n", "along_pct", "across_mm")]
    if stance_mm is None or len(stance_mm) != 8 or not all(name in given for name in wanted):
        return None
    loads = np.stack([np.nan_to_num(given["lead_n"]), np.nan_to_num(given["trail_n"])])
    off = FOOT_OFF * float(loads.sum(axis=0).mean())
    points, weights = [], []
    for foot, load in zip(FEET, loads, strict=True):
        heel_x, heel_y, toe_x, toe_y = stance_mm[:4] if foot == "lead" else stance_mm[4:]
        axis_x, axis_y = toe_x - heel_x, toe_y - heel_y
        side = math.copysign(1.0 / math.hypot(axis_x, axis_y), axis_y)
        along, across = given[f"{foot}_along_pct"] / 100.0, given[f"{foot}_across_mm"]
        point = np.stack(
            [
                heel_x + along * axis_x + across * side * axis_y,
                heel_y + along * axis_y - across * side * axis_x,
            ]
        )
        known = np.isfinite(point).all(axis=0) & (load >= off) & (load > 0.0)
        points.append(np.where(known, point, 0.0))
        weights.append(np.where(known, load, 0.0))
    with np.errstate(invalid="ignore"):
        return np.asarray((points[0] * weights[0] + points[1] * weights[1]) / (weights[0] + weights[1]))


def measures(cop: FLOATS, rate_hz: float, from_s: float, to_s: float) -> dict[str, float | None]:
    """The five measures of a (2, n) centre of pressure between two times, s after its first sample.

    Null when over 5 % of the stretch is not known or under 5 s of it remain after the ends are cut.

    Example:
        >>> still = measures(np.zeros((2, 1000)), 50.0, 0.0, 20.0)
        >>> still["path_mm"], still["ellipse_mm2"]
        (0.0, 0.0)
    """
    none: dict[str, float | None] = dict.fromkeys(SWAY)
    first, last = max(round(from_s * rate_hz), 0), min(round(to_s * rate_hz) + 1, cop.shape[1])
    cut = round(TRIM_S * rate_hz)
    if last - first - 2 * cut < LEAST_S * rate_hz:
        return none
    stretch = cop[:, first:last]
    known = np.isfinite(stretch).all(axis=0)
    if 1.0 - known.mean() > MOST_LOST:
        return none
    at = np.arange(stretch.shape[1])
    x, y = (lowpass(np.interp(at, at[known], line[known]), HOLD_HZ, rate_hz)[cut:-cut] for line in stretch)
    path = float(np.hypot(np.diff(x), np.diff(y)).sum())
    return {
        "path_mm": path,
        "speed_mm_s": path * rate_hz / (x.size - 1),
        "rms_along_mm": float(y.std()),
        "rms_across_mm": float(x.std()),
        "ellipse_mm2": ellipse_area(x, y),
    }


def ellipse_area(x: FLOATS, y: FLOATS) -> float:
    """Area of the 95 % prediction ellipse, π·5.991·√det S, in the square of the unit given."""
    return math.pi * CHI2_95 * math.sqrt(max(float(np.linalg.det(np.cov(x, y))), 0.0))
