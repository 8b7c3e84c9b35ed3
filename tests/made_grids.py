"""Pressure frames of two soles of known outline, with the truth they were made from.

A sole is an outline (length, width, waist, round ends) at a place and angle on the floor, with a heel pad, a
forefoot pad and an even part, each integrated on a 1 mm floor before it is averaged over the sensors. So loads,
centre of pressure and heel-third loads are known without any sensor.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ingest.formats.sensor_grid import Grid, open_turned

FINE_MM = 1.0


@dataclass(frozen=True)
class Sole:
    """Back of the heel (x from the golfer's left edge, y from the heel edge), toe-out angle to the right, mm."""

    heel_x: float
    heel_y: float
    turn_deg: float = 0.0
    length: float = 275.0
    width: float = 100.0
    edge: float = 0.35  # pressure of the pads at the outline against their middles: 0 fades out, 1 hard-edged

    @property
    def toe(self) -> tuple[float, float]:
        turn = np.radians(self.turn_deg)
        return self.heel_x + self.length * np.sin(turn), self.heel_y + self.length * np.cos(turn)

    def places(self, x, y):
        """Along (0 to 1 of the length) and across (mm, to the right) of floor points."""
        turn = np.radians(self.turn_deg)
        dx, dy = x - self.heel_x, y - self.heel_y
        return (dx * np.sin(turn) + dy * np.cos(turn)) / self.length, dx * np.cos(turn) - dy * np.sin(turn)

    def _box(self, rows: int, cols: int, pitch: float):
        """Sensors about the sole, so that no floor far from it is worked through."""
        spans = []
        for ends, count in (((self.heel_y, self.toe[1]), rows), ((self.heel_x, self.toe[0]), cols)):
            low, high = min(ends) - 0.6 * self.width, max(ends) + 0.6 * self.width
            spans.append(slice(max(0, int(low // pitch)), min(count, int(high // pitch) + 1)))
        return tuple(spans)

    def pads(self, rows: int, cols: int, pitch: float):
        """Heel, forefoot and even part of 1 N each: sensors (3, rows, cols) kPa, and truths (3, 4) a newton:
        along, across (mm, to the right), rear-third share, load."""
        steps = round(pitch / FINE_MM)
        place = self._box(rows, cols, pitch)
        high, wide = (axis.stop - axis.start for axis in place)
        y, x = np.meshgrid(
            place[0].start * pitch + (np.arange(high * steps) + 0.5) * FINE_MM,
            place[1].start * pitch + (np.arange(wide * steps) + 0.5) * FINE_MM,
            indexing="ij",
        )
        s, u = self.places(x, y)
        inside = np.clip(s * (1 - s), 0, None)
        half = (
            (self.width / 2)
            * 1.62
            * inside**0.4
            * (1 + 0.24 * (s - 0.5))
            * (1 - 0.2 * np.exp(-(((s - 0.42) / 0.13) ** 2)))
        )
        part = np.where(half > 0, np.abs(u) / np.maximum(half, 1e-9), 9.0)
        rim = np.clip(np.minimum((1 - part) * half, np.minimum(s, 1 - s) * self.length) / 25.0, 0, 1)
        sole = (part <= 1) * (self.edge + (1 - self.edge) * rim)
        heel = sole * np.exp(-(((s - 0.14) / 0.14) ** 2)) * (s < 0.42)
        fore = (
            sole
            * (np.exp(-(((s - 0.72) / 0.16) ** 2)) + 0.35 * np.exp(-(((s - 0.93) / 0.07) ** 2)))
            * (s > 0.45)
        )
        sensors, truths = [], []
        for pad in (heel, fore, sole * (1.0 + 0.0 * s)):
            newtons = pad / pad.sum()
            truths.append([(newtons * s).sum() * 100, (newtons * u).sum(), newtons[s < 1 / 3].sum(), 1.0])
            block = np.zeros((rows, cols))
            block[place] = newtons.reshape(high, steps, wide, steps).sum(axis=(1, 3)) / (pitch**2 * 1e-3)
            sensors.append(block)
        return np.array(sensors), np.array(truths)


@dataclass(frozen=True)
class Made:
    """Frames and truth: `truth[foot]` (T, 4) of load N, along %, across mm to the right, heel N."""

    pressure: np.ndarray
    t_s: np.ndarray
    swing_no: np.ndarray
    pitch_mm: float
    left: np.ndarray
    right: np.ndarray

    def write(self, path: Path, **changes) -> Path:
        arrays = {name: getattr(self, name) for name in ("pressure", "t_s", "swing_no", "pitch_mm")} | changes
        np.savez(path, **{k: v for k, v in arrays.items() if v is not None})
        return path


def courses(t, weight_n: float = 720.0, phase: float = 0.0):
    """Smooth loads and pad shares of a swing: total, left share, part on the heel pad of each foot."""
    share = 0.5 - 0.22 * np.exp(-(((t - 1.3) / 0.35) ** 2)) + 0.36 / (1 + np.exp(-(t - 1.75) / 0.06))
    total = weight_n * (1 + 0.35 * np.exp(-(((t - 1.8) / 0.09) ** 2)))
    left_heel = 0.5 + 0.25 * np.sin(2.1 * t + phase) - 0.2 * np.exp(-(((t - 1.4) / 0.3) ** 2))
    right_heel = 0.5 + 0.2 * np.exp(-(((t - 1.3) / 0.4) ** 2)) - 0.46 / (1 + np.exp(-(t - 1.75) / 0.08))
    return total, share, np.clip(left_heel, 0.02, 0.98), np.clip(right_heel, 0.02, 0.98)


def foot_frames(sole: Sole, load, on_heel, rows, cols, pitch, even: float = 0.2):
    """Frames (T, rows, cols) and truth (T, 4) of one still foot."""
    sensors, truths = sole.pads(rows, cols, pitch)
    mix = np.column_stack([(1 - even) * on_heel, (1 - even) * (1 - on_heel), np.full(len(load), even)])
    mixed = mix @ truths
    truth = np.column_stack([load, mixed[:, 0], mixed[:, 1], load * mixed[:, 2]])
    return np.einsum("tk,krc->trc", mix * load[:, None], sensors), truth


LEFT, RIGHT = Sole(210, 120, -14), Sole(410, 132, 17)


def make(left=LEFT, right=RIGHT, *, pitch=10.0, rows=44, cols=62, rate=100.0, seconds=3.0, swing_no=1,
         noise=0.0, weight_n=720.0, seed=5) -> Made:  # fmt: skip
    """A swing of a right-handed golfer on a grid, seen from above: the left foot is the lead foot."""
    scale = 10.0 / pitch
    rows, cols = round(rows * scale), round(cols * scale)
    t = np.arange(round(seconds * rate)) / rate
    total, share, left_heel, right_heel = courses(t, weight_n)
    a, left_truth = foot_frames(left, total * share, left_heel, rows, cols, pitch)
    b, right_truth = foot_frames(right, total * (1 - share), right_heel, rows, cols, pitch)
    pressure = a + b
    if noise:
        pressure = np.clip(pressure + np.random.default_rng(seed).normal(0, noise, pressure.shape), 0, None)
    return Made(pressure.astype(np.float32), t, np.full(len(t), swing_no), pitch, left_truth, right_truth)


def turning(sole: Sole, angles, load, on_heel, rows, cols, pitch, *, about: float = 0.72, even: float = 0.2):
    """Frames and truth (T, 4) of a foot that turns about a point of its axis; `angles` (T,) degrees added."""
    turn = np.radians(sole.turn_deg)
    x, y = sole.heel_x + about * sole.length * np.sin(turn), sole.heel_y + about * sole.length * np.cos(turn)
    frames, truth = np.zeros((len(load), rows, cols)), np.zeros((len(load), 4))
    for angle in np.unique(angles):
        now = np.radians(sole.turn_deg + angle)
        turned = replace(
            sole, heel_x=x - about * sole.length * np.sin(now), heel_y=y - about * sole.length * np.cos(now),
            turn_deg=sole.turn_deg + angle,
        )  # fmt: skip
        here = angles == angle
        frames[here], truth[here] = foot_frames(turned, load[here], on_heel[here], rows, cols, pitch, even)
    return frames, truth


def write_recording(path: Path, found, steps_at_s: float = np.inf) -> Path:
    """A planted recording as frames without swing numbers; from `steps_at_s` on both feet are 70 mm further on."""
    parts = []
    for later in (False, True):
        here = (found.t_s >= steps_at_s) == later
        total = np.zeros((here.sum(), 44, 62))
        for sole, side in ((LEFT, "left"), (RIGHT, "right")):
            moved = replace(sole, heel_y=sole.heel_y - 70.0 + 70.0 * later)
            load, along = (getattr(found, f"{side}_{part}")[here] for part in ("n", "along_pct"))
            on_heel = np.clip(1.1 - np.nan_to_num(along, nan=46.0) / 80.0, 0.05, 0.95)
            total += foot_frames(moved, load, on_heel, 44, 62, 10.0)[0]
        parts.append(total.astype(np.float32))
    np.savez(path, pressure=np.concatenate(parts), t_s=found.t_s, pitch_mm=10.0)
    return path


def read_frames(path: Path, *, device_options, handed) -> Grid:
    """A file that numbers its swings, as the reader of grids reads it."""
    return open_turned(path, device_options, handed).read()
