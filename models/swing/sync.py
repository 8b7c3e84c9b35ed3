"""The clip's clock against the plate's: by how much plate time is ahead of clip time.

Heel rise seen on the clip is laid over heel unloading on the plate at every lag, and the lag is taken at
which the two agree best: the highest normalised correlation of both feet together, refined below a frame by a
parabola. Unloading of a foot is x = max(along − a, 0), its centre of pressure's way toward the toes past a
place a; by two-point statics the heel carries nothing past 70 % of foot length, but where a heel begins to
lift differs from foot to foot, so a is the one of `HINGES` that agrees best. Beyond the plate's record its
end values are held.

Agreement r = √(1 − ΣE / ΣS), over both feet: E the least squares of rise on x with a slope of 0 or more, S
the squares of rise about its mean. Standard error from the curvature of the squares at their least:
SE = √(2·s² / E″), s² = E / (N − 4).

A swing and a clip that are not of one moment can agree well, as swings of a kind resemble one another. What
gives them away is that no single lag suits both feet: the lead heel moves going back, the trail heel coming
down, and their times lie differently. So the one lag may leave hardly more than each foot's own lag would.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.clip import Clip, heel_rise, stillest_s
from models.swing.clock import event_list
from models.swing.filter import lowpass
from models.swing.signals import FOOT_OFF, HEEL_HZ
from warehouse.traces import SessionTrace

FLOATS = NDArray[np.float64]
Stance = Sequence[float] | None
HINGES = np.array([-50.0, *np.arange(46.0, 80.0, 2.0)])  # % of foot length; the first takes all of along
LEAST_AGREEMENT = 0.6
LEAST_OVERLAP = 0.6  # of the shorter of clip and plate
MOST_STRAIN = 1.1  # squares left at the one lag over those at each foot's own; found on made swings


@dataclass(frozen=True)
class Match:
    """How a clip lies on a plate: plate time = clip time + lag_s."""

    lag_s: float
    se_s: float
    agreement: float  # 0…1
    strain: float  # squares left at this lag over those left at each foot's own lag, 1 or more

    def holds(self, frame_s: float) -> bool:
        """Whether the two belong together: they agree, the lag is sure, and both feet name the same one."""
        return self.agreement >= LEAST_AGREEMENT and self.se_s <= frame_s and self.strain <= MOST_STRAIN


def toeward(load_n: FLOATS, along_pct: FLOATS, rate_hz: float) -> FLOATS | None:
    """(N,) along of one foot without gaps, 15 Hz; None when it is known in under half of the samples.

    It is not known where the foot carries under 5 % of its highest load.
    """
    known = (
        np.isfinite(along_pct) & np.isfinite(load_n) & (load_n > FOOT_OFF * np.nanmax(load_n, initial=0.0))
    )
    if 2 * known.sum() < known.size or known.size < 2:
        return None
    samples = np.arange(known.size)
    return lowpass(np.interp(samples, samples[known], along_pct[known]), HEEL_HZ, rate_hz)


def lay_over(
    rise_mm: FLOATS, fps: float, along_pct: FLOATS, rate_hz: float, plate_s: float = 0.0
) -> Match | None:
    """Lay the heels' rise over the plate.

    Args:
        rise_mm: (2, F) rise of lead and trail heel, one value a frame, NaN where not seen.
        fps: frames a second of the clip.
        along_pct: (2, N) of `toeward`, samples at plate_s + n / rate_hz.
        rate_hz: sample rate of the plate.
        plate_s: time of its first sample.

    Returns:
        None when neither heel moves, or too little of clip and plate could lie on one another.
    """
    frames, samples = rise_mm.shape[1], along_pct.shape[1]
    grid = np.arange(int((samples - 1) / rate_hz * fps) + 1) / fps * rate_hz
    plate = np.array([np.interp(grid, np.arange(samples), line) for line in along_pct])
    least = int(LEAST_OVERLAP * min(frames, grid.size))
    lags = np.arange(least - frames, grid.size - least + 1)
    seen = np.isfinite(rise_mm)
    squares = np.array([_squares(rise_mm[k], seen[k]) for k in range(2)])
    if lags.size < 3 or not squares.sum() > 0.0:
        return None
    left = np.array([_left_over(rise_mm[k], seen[k], plate[k], lags) for k in range(2)])
    place, curve = _lowest(left.sum(axis=0))
    spare = max(int(seen.sum()) - 4, 1)
    least_left = float(left.sum(axis=0).min())
    error = math.sqrt(2.0 * least_left / spare / curve) / fps if curve > 0.0 else math.inf
    own = float(left.min(axis=1).sum())
    strain = least_left / own if own > 0.0 else 1.0
    agreement = math.sqrt(max(1.0 - least_left / float(squares.sum()), 0.0))
    return Match(plate_s + (float(lags[0]) + place) / fps, error, agreement, strain)


def match_clips(
    clip: Clip | None, trace: SessionTrace, swings: pl.DataFrame, events: pl.DataFrame, stance: Stance
) -> tuple[pl.DataFrame, set[int]]:
    """The swings with clip_offset_s and clip_offset_se_s of those that were filmed and measured.

    An offset that came with the delivery (it has no standard error) stays. Events marked on the clip give its
    address, else its stillest moment stands for it.

    Returns:
        The swings, and the swing_no of those whose clip does not match the plate: no offset is stored.
    """
    if clip is None or trace.swing_no.size == 0:
        return swings, set()
    offsets: dict[int, float | None] = {}
    errors: dict[int, float | None] = {}
    row_of = {number: row for row, number in enumerate(trace.swing_no.tolist())}
    points_of = clip.points.partition_by("swing_no", as_dict=True)
    columns = swings.columns
    given = swings["clip_offset_s"] if "clip_offset_s" in columns else [None] * len(swings)
    known = swings["clip_offset_se_s"] if "clip_offset_se_s" in columns else [None] * len(swings)
    unmatched = set()
    marked = {(no, event): t for no, event, t, _, clock in event_list(events) if clock == "clip"}
    for number, offset, error in zip(swings["swing_no"], given, known, strict=True):
        offsets[number], errors[number] = (offset, error) if error is None else (None, None)
        points, row = points_of.get((number,)), row_of.get(number)
        if points is None or row is None or offsets[number] is not None:
            continue
        found = _match_swing(points, clip, trace, row, marked.get((number, "address")), stance)
        if found is None or not found.holds(1.0 / clip.fps):
            unmatched.add(number)
        else:
            offsets[number], errors[number] = found.lag_s, found.se_s
    new = {"clip_offset_s": offsets, "clip_offset_se_s": errors}
    return swings.with_columns(
        pl.Series(name, [values[no] for no in swings["swing_no"]], dtype=pl.Float64)
        for name, values in new.items()
    ), unmatched


def _match_swing(
    points: pl.DataFrame, clip: Clip, trace: SessionTrace, row: int, address_s: float | None, stance: Stance
) -> Match | None:
    rise = heel_rise(points, clip, stillest_s(points, clip.fps) if address_s is None else address_s, stance)
    part = slice(int(trace.offsets[row]), int(trace.offsets[row + 1]))
    rate = float(trace.rate_hz[row])
    if rise is None or rate <= 0.0 or part.stop - part.start < 2:
        return None
    feet = []
    for foot in ("lead", "trail"):
        load, along = (trace.columns.get(f"{foot}_{name}") for name in ("n", "along_pct"))
        if load is None or along is None:
            return None
        feet.append(toeward(load[part].astype(np.float64), along[part].astype(np.float64), rate))
    if any(line is None for line in feet):
        return None
    found = lay_over(
        np.array([rise.lead_mm, rise.trail_mm]), clip.fps, np.array(feet), rate, float(trace.t0_s[row])
    )
    if found is None:
        return None
    return replace(found, lag_s=found.lag_s - rise.first_frame / clip.fps)


def _squares(rise: FLOATS, seen: NDArray[np.bool_]) -> float:
    values = rise[seen]
    return float(((values - values.mean()) ** 2).sum()) if values.size else 0.0


def _left_over(rise: FLOATS, seen: NDArray[np.bool_], along: FLOATS, lags: NDArray[np.int64]) -> FLOATS:
    """(L,) squares left of one heel's rise at every lag, by its best hinge."""
    count, weight = int(seen.sum()), seen.astype(np.float64)
    best = np.full(lags.size, _squares(rise, seen))
    if count == 0:
        return best
    centred = np.where(seen, rise - rise[seen].mean(), 0.0)
    for hinge in HINGES:
        x = np.pad(np.maximum(along - hinge, 0.0), rise.size, mode="edge")
        windows = np.lib.stride_tricks.sliding_window_view(x, rise.size)[lags + rise.size]
        spread = (windows**2) @ weight - (windows @ weight) ** 2 / count
        shared = np.maximum(windows @ centred, 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            gained = np.where(spread > 1e-9 * count, shared**2 / spread, 0.0)
        best = np.minimum(best, _squares(rise, seen) - gained)
    return best


def _lowest(values: FLOATS) -> tuple[float, float]:
    """Place of the least value, below a step by a parabola, and the second difference there."""
    k = int(np.argmin(values))
    if not 0 < k < values.size - 1:
        return float(k), 0.0
    before, here, after = values[k - 1 : k + 2]
    curve = float(before - 2.0 * here + after)
    return (k + 0.5 * float(before - after) / curve, curve) if curve > 0.0 else (float(k), 0.0)
