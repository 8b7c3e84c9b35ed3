"""One session's frames of a sensor grid: bad sensors found over all of it, each swing reduced to samples.

Pressure comes turned: x toward the target, y toward the toes. load = Σ p · pitch² (1 kPa · 1 mm² = 10⁻³ N)
over a foot's sensors; its centre of pressure is Σ p·x / Σ p, Σ p·y / Σ p, read along and across the foot's
own axis.

The stance of a swing is found in short bins of frames, (bins, rows, cols) in kPa, which quiets the sensors'
noise. The address print of a foot is taken from the bins in which it has not moved yet; a foot that only
rolls up onto its toes keeps that print's axis and length, a foot whose whole print turns is followed with its
length kept.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import ndimage

from ingest.formats.footprints import (
    Foot,
    Marks,
    Plane,
    dead_inside,
    fill,
    loaded,
    measure,
    noise_floor,
    split,
)
from ingest.formats.grid_file import Frames

BIN_S = 0.04
NO_PLACE_SHARE = 0.02  # of the swing's high total load: a foot this light has no centre of pressure
SATURATED_SENSORS = 2
N_PER_KPA_MM2 = 1e-3
FIRST_PART = 0.4  # of the swing: address and backswing, in which feet stand
BUSY_SHARE = 0.3  # of the highest total: below, nobody stands on the grid yet, or any more
STAYS_SHARE = 0.04  # of a foot's load may be outside its address print before it counts as moved
OUTSIDE_MM = 12.0
LIGHT_SHARE = 0.08  # of the swing's usual total: a lighter foot's print does not show where it is
SAME_LENGTH = 0.08  # a turned whole print is as long as the address print, within this share
LEAST_TURN, LEAST_SHIFT_MM = np.radians(4.0), 10.0
# A sole that ends in its outermost sensors loads them less than the next ones, and along a short way only.
CUT_OFF_RATIO, CUT_OFF_PART = 0.7, 0.45

Pressure = NDArray[np.float32]
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Standing:
    """One foot of a swing: its address print, the sensors it may load, and its pose bin by bin.

    `heel` (bins, 2) mm and `angle` (bins,) rad follow a turning foot; `moved` (bins,) marks where they differ
    from the address.
    """

    foot: Foot
    region: Marks
    heel: Array
    angle: Array
    moved: NDArray[np.bool_]

    def pose(self, k: int) -> Foot:
        """The foot as it is in bin k."""
        x, y = float(self.heel[k, 0]), float(self.heel[k, 1])
        reach_x, reach_y = np.sin(self.angle[k]), np.cos(self.angle[k])
        length = self.foot.length_mm
        return Foot((x, y), (x + length * float(reach_x), y + length * float(reach_y)))


@dataclass(frozen=True)
class SwingFrames:
    """Frames of one swing.

    Their rows in the file, how many make a bin, the bins' mean pressures, and the part of the grid on the
    target's side of the feet's dividing line (None without two feet).
    """

    rows: NDArray[np.int64]
    frames_a_bin: int
    bins: Array  # (bins, rows, cols)
    side: Marks | None  # (rows, cols)


@dataclass(frozen=True)
class FootSamples:
    """One foot, frame by frame: loads in N, place along in % and across in mm, centre of pressure in mm."""

    load: Array
    heel: Array
    along: Array
    across: Array
    x: Array
    y: Array


class Recording:
    """A session's frames; `dead` and `stuck` mark bad sensors (rows × cols, as turned)."""

    def __init__(self, frames: Frames, kept: NDArray[np.int64]) -> None:
        pressure, swing_no = frames.pressure, np.asarray(frames.swing_no)
        self.pressure, self.t_s = pressure, frames.t_s
        self.plane = Plane(pressure.shape[1], pressure.shape[2], frames.pitch_mm)
        whole = pressure if len(kept) == len(pressure) else pressure[kept]
        low, self.high = whole.min(axis=0), whole.max(axis=0)
        self.stuck: Marks = (low == self.high) & (low != 0) & bool((low != self.high).any())
        self.swings = {int(no): self._swing(kept[swing_no[kept] == no]) for no in np.unique(swing_no[kept])}
        self.dead = self._dead((low == 0) & (self.high == 0))

    def _swing(self, rows: NDArray[np.int64]) -> SwingFrames:
        period = float(np.median(np.abs(np.diff(self.t_s[rows])))) if len(rows) > 1 else BIN_S
        size = int(np.clip(round(BIN_S / period), 1, max(1, len(rows) // 8))) if period > 0 else 1
        starts = np.arange(0, max(1, len(rows) - size + 1), size)
        sums = np.add.reduceat(self._of(rows), starts, axis=0, dtype=np.float64)
        counts = np.diff(np.append(starts, len(rows)))
        bins = sums / counts[:, None, None]
        fill(bins, self.stuck)
        union = bins.max(axis=0)
        return SwingFrames(rows, size, bins, split(union, loaded(union, self.plane), self.plane))

    def _of(self, rows: NDArray[np.int64]) -> Pressure:
        """Frames of a swing; a view where its rows are consecutive in the file."""
        if rows[-1] - rows[0] + 1 == len(rows):
            return self.pressure[rows[0] : rows[-1] + 1]
        return self.pressure[rows]

    def _dead(self, silent: Marks) -> Marks:
        """Dead sensors inside any swing's prints; the bins are filled where one was found."""
        dead = np.zeros(silent.shape, dtype=np.bool_)
        for swing in self.swings.values():
            if swing.side is not None and silent.any():
                marks = loaded(swing.bins.max(axis=0), self.plane)
                dead |= dead_inside(silent, marks & swing.side) | dead_inside(silent, marks & ~swing.side)
        if dead.any():
            for swing in self.swings.values():
                fill(swing.bins, dead | self.stuck)
        return dead

    def reduce(self, swing_no: int) -> tuple[pl.DataFrame, list[float]] | None:
        """Samples and stance (8 numbers) of a swing; None when two whole feet were not found."""
        swing = self.swings[swing_no]
        stance = None if swing.side is None else find_stance(swing.bins, swing.side, self.plane)
        if stance is None:
            return None
        pressure = np.ascontiguousarray(self._of(swing.rows))
        if (self.dead | self.stuck).any():
            pressure = pressure.copy() if np.shares_memory(pressure, self.pressure) else pressure
            fill(pressure, self.dead | self.stuck)
        flat = pressure.reshape(len(pressure), -1)
        outside = ~(stance[0].region | stance[1].region | self.dead | self.stuck)
        hum = float(np.median(swing.bins[:, outside].mean(axis=0))) if outside.any() else 0.0
        lead, trail = (self._foot(flat, swing, standing, hum) for standing in stance)
        ends = [end for standing in stance for end in (*standing.foot.heel, *standing.foot.toe)]
        return self._frame(swing_no, swing, lead, trail), ends

    def _foot(self, flat: Pressure, swing: SwingFrames, standing: Standing, hum_kpa: float) -> FootSamples:
        """Loads and centre of pressure by one product of frames × sensors with sensors × weights."""
        cells = np.flatnonzero(standing.region)
        x, y = self.plane.x.ravel()[cells], self.plane.y.ravel()[cells]
        heel_weight = self.plane.heel_weights(standing.foot).ravel()[cells]
        own = flat[:, cells]
        weights = np.column_stack([np.ones(len(cells)), x, y, heel_weight]).astype(np.float32)
        hummed = hum_of(swing.bins.reshape(len(swing.bins), -1)[:, cells], hum_kpa)
        which = np.minimum(np.arange(len(flat)) // swing.frames_a_bin, len(swing.bins) - 1)
        sums = (own @ weights).astype(np.float64) - (hummed @ weights)[which]
        for k in np.flatnonzero(standing.moved):
            turned = self.plane.heel_weights(standing.pose(int(k))).ravel()[cells]
            sums[which == k, 3] = own[which == k] @ turned.astype(np.float32) - hummed[k] @ turned
        with np.errstate(divide="ignore", invalid="ignore"):
            at_x, at_y = sums[:, 1] / sums[:, 0], sums[:, 2] / sums[:, 0]
        middle = (np.arange(len(swing.bins)) + 0.5) * swing.frames_a_bin - 0.5
        heel_x, heel_y, angle = (
            np.interp(np.arange(len(flat)), middle, pose)
            for pose in (standing.heel[:, 0], standing.heel[:, 1], standing.angle)
        )
        sine, cosine = np.sin(angle), np.cos(angle)
        along = ((at_x - heel_x) * sine + (at_y - heel_y) * cosine) / standing.foot.length_mm
        across = (at_x - heel_x) * cosine - (at_y - heel_y) * sine
        newton = self.plane.pitch_mm**2 * N_PER_KPA_MM2
        return FootSamples(sums[:, 0] * newton, sums[:, 3] * newton, 100.0 * along, across, at_x, at_y)

    def _frame(
        self, swing_no: int, swing: SwingFrames, lead: FootSamples, trail: FootSamples
    ) -> pl.DataFrame:
        usual = float(np.quantile(lead.load + trail.load, 0.9))
        columns = {}
        for name, foot in (("lead", lead), ("trail", trail)):
            light = foot.load < NO_PLACE_SHARE * usual
            # A centre of pressure can't leave the sole; past its ends is the print's own error.
            columns[f"{name}_along_pct"] = np.where(light, np.nan, np.clip(foot.along, 0.0, 100.0))
            columns[f"{name}_across_mm"] = np.where(light, np.nan, foot.across)
        total = lead.load + trail.load
        with np.errstate(divide="ignore", invalid="ignore"):
            for axis, a, b in (("x", lead.x, trail.x), ("y", lead.y, trail.y)):
                moments = [np.where(f.load > 0, at * f.load, 0) for at, f in ((a, lead), (b, trail))]
                mean = (moments[0] + moments[1]) / total
                columns[f"cop_{axis}_mm"] = np.where(total < NO_PLACE_SHARE * usual, np.nan, mean)
        columns |= {"swing_no": np.full(len(total), swing_no, dtype=np.int64), "t_s": self.t_s[swing.rows]}
        columns |= {"lead_n": lead.load, "trail_n": trail.load}
        columns |= {"lead_heel_n": lead.heel, "trail_heel_n": trail.heel}
        return pl.DataFrame(columns).with_columns(pl.col(pl.Float64).fill_nan(None))

    def saturated(self, swing_no: int) -> bool:
        """Whether two sensors or more stayed at the session's very highest pressure, frame after frame."""
        swing = self._of(self.swings[swing_no].rows)
        at_top = (self.high == self.high.max()) & ~self.stuck
        if at_top.sum() < SATURATED_SENSORS:
            return False
        high = swing[:, at_top] == self.high.max()
        run = high[:-2] & high[1:-1] & high[2:]
        return int(run.any(axis=0).sum()) >= SATURATED_SENSORS


def hum_of(mean_kpa: Array, hum_kpa: float) -> Array:
    """How much of each sensor's mean reading is noise that was cut at zero (same shape), kPa.

    A sensor whose noise can't go under 0 reads `hum_kpa` on average when nothing stands on it, and next to
    nothing too much when firmly loaded. For normal noise of spread σ, hum = σ/√(2π), and the excess falls
    with the mean m as hum·exp(−0.93·(m − hum)/hum), within 0.01 σ of the
    exact value. None where there is no noise.
    """
    if hum_kpa <= 0.0:
        return np.zeros_like(mean_kpa)
    excess: Array = hum_kpa * np.minimum(np.exp(-0.93 * (mean_kpa - hum_kpa) / hum_kpa), 1.5)
    return excess


def find_stance(bins: Array, side: Marks, plane: Plane) -> tuple[Standing, Standing] | None:
    """Lead and trail foot of a swing; None without two whole feet.

    bins: (bins, rows, cols) kPa, means of some 40 ms each; side: as `split` has it. Each foot may load the
    sensors within 8 mm of its own print that are nearer to it than to the other's. Feet are measured on the
    peak print of the first 40 % of the busy bins, and only from bins in which at most 4 % of the foot's load
    is outside its address print.
    """
    union = bins.max(axis=0)
    marks = loaded(union, plane)
    both = (marks & side, marks & ~side)
    floor = noise_floor(union)
    wide = [ndimage.binary_dilation(m, np.ones((3, 3), dtype=bool), plane.steps(8.0)) for m in both]
    total = bins[:, wide[0] | wide[1]].sum(axis=1)
    busy = total > BUSY_SHARE * total.max()
    usual = float(np.median(total[busy]))
    first = bins[busy][: max(3, round(FIRST_PART * np.count_nonzero(busy)))].max(axis=0)
    found = []
    for own, other, reach in zip(both, both[::-1], wide, strict=True):
        to_own, to_other = (ndimage.distance_transform_edt(~print_) for print_ in (own, other))
        region = reach & ~other & (to_own < to_other)  # so that no sensor is counted twice
        standing = _standing(bins, first, own, region, plane, floor, usual)
        if standing is None or _cut_off(union, own, standing.foot, plane):
            return None
        found.append(standing)
    return found[0], found[1]


def _standing(
    bins: Array, first: Array, own: Marks, region: Marks, plane: Plane, floor: float, usual: float
) -> Standing | None:
    """One foot of a swing; `first` is the peak print of the swing's first part, in which feet stand."""
    level = 0.04 * float(np.quantile(first[own], 0.9))
    base = own & (first > max(level, floor))
    near = ndimage.binary_dilation(base, np.ones((3, 3), dtype=bool), plane.steps(OUTSIDE_MM))
    seen = np.where(bins > floor, bins, 0.0)
    load = seen[:, region].sum(axis=1)
    outside = seen[:, region & ~near].sum(axis=1)
    heavy = load > LIGHT_SHARE * usual
    stays = outside <= STAYS_SHARE * load
    if not (heavy & stays).any():
        return None
    address = bins[heavy & stays].max(axis=0)
    foot = measure(address, own & near & (address > max(level, floor)), plane, floor)
    if foot is None:
        return None
    heel, angle, moved = _follow(bins, region, foot, heavy & ~stays, plane, floor)
    return Standing(foot, region, heel, angle, moved)


def _follow(
    bins: Array, region: Marks, foot: Foot, away: NDArray[np.bool_], plane: Plane, floor: float
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Heel, angle and moved mark of each bin: whole prints away from the address print are measured anew.

    A bin away from it without a whole print (only the toes, say) keeps the pose before it.
    """
    heel = np.tile(np.asarray(foot.heel), (len(bins), 1))
    angle = np.full(len(bins), foot.angle)
    moved = np.zeros(len(bins), dtype=np.bool_)
    for k in np.flatnonzero(away):
        print_kpa = bins[k]
        marks = region & (print_kpa > max(0.04 * float(np.quantile(print_kpa[region], 0.9)), floor))
        now = measure(print_kpa, marks, plane, floor)
        if now is not None and abs(now.length_mm / foot.length_mm - 1.0) <= SAME_LENGTH:
            shift = np.hypot(now.heel[0] - foot.heel[0], now.heel[1] - foot.heel[1])
            if abs(now.angle - foot.angle) >= LEAST_TURN or shift >= LEAST_SHIFT_MM:
                heel[k], angle[k], moved[k] = now.heel, now.angle, True
        elif k > 0:
            heel[k], angle[k], moved[k] = heel[k - 1], angle[k - 1], moved[k - 1]
    return heel, angle, moved


def _cut_off(union: Array, own: Marks, foot: Foot, plane: Plane) -> bool:
    """Whether the foot runs over the edge of the grid, where part of its load is not seen."""
    end = len(union) * plane.pitch_mm
    if foot.heel[1] < 0.02 * plane.pitch_mm or foot.toe[1] > end - 0.02 * plane.pitch_mm:
        return True
    most = CUT_OFF_PART * foot.length_mm / plane.pitch_mm
    for edge, inner in ((0, 1), (-1, -2)):
        on_edge = own[:, edge] & own[:, inner]
        firm = union[on_edge, edge].sum() > CUT_OFF_RATIO * union[on_edge, inner].sum()
        if on_edge.sum() > most or (on_edge.sum() >= 3 and firm):
            return True
    return False
