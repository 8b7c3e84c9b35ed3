"""One session's frames of a sensor grid: bad sensors found over all of it, each swing reduced to samples.

Pressure comes turned: x toward the target, y toward the toes. load = Σ p · pitch² (1 kPa · 1 mm² = 10⁻³ N)
over a foot's sensors; its centre of pressure is Σ p·x / Σ p, Σ p·y / Σ p, read along and across the foot's
own axis.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.formats.footprints import Marks, Plane, dead_inside, fill, loaded
from ingest.formats.stances import Standing, find_side, find_stance

BIN_S = 0.04
NO_PLACE_SHARE = 0.02  # of the swing's high total load: a foot this light has no centre of pressure
SATURATED_FRAMES, SATURATED_SENSORS = 3, 2
N_PER_KPA_MM2 = 1e-3

Pressure = NDArray[np.float32]
Array = NDArray[np.float64]


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

    def __init__(
        self,
        pressure: Pressure,
        t_s: Array,
        swing_no: NDArray[np.int64],
        pitch_mm: float,
        kept: NDArray[np.int64],
    ) -> None:
        self.pressure, self.t_s = pressure, t_s
        self.plane = Plane(pressure.shape[1], pressure.shape[2], pitch_mm)
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
        return SwingFrames(rows, size, bins, find_side(bins, self.plane))

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
        return self._frame(swing_no, swing, lead, trail), [
            end for standing in stance for end in (*standing.foot.heel, *standing.foot.toe)
        ]

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
                mean = (
                    np.where(lead.load > 0, a * lead.load, 0) + np.where(trail.load > 0, b * trail.load, 0)
                ) / total
                columns[f"cop_{axis}_mm"] = np.where(total < NO_PLACE_SHARE * usual, np.nan, mean)
        frame = pl.DataFrame(
            {
                "swing_no": np.full(len(total), swing_no, dtype=np.int64),
                "t_s": self.t_s[swing.rows],
                "lead_n": lead.load,
                "trail_n": trail.load,
                "lead_heel_n": lead.heel,
                "trail_heel_n": trail.heel,
                **columns,
            }
        )
        return frame.with_columns(pl.col(pl.Float64).fill_nan(None))

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
