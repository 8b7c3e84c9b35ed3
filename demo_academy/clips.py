"""Foot-level clips: heel and toe points in each frame, with or without plates."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from demo_academy.curves import Array, Curve, SwingCurves, take_rows
from warehouse.vocabulary import POINTS


@dataclass(frozen=True)
class ClipShot:
    """How a clip was filmed. `scale` is px per mm at the nearer foot; `toes_right` where the toes point."""

    fps: float
    shoe_mm: float
    view: str
    scale: float
    toes_right: bool

    def toml(self) -> str:
        """The `[clip]` table of session.toml."""
        return f'\n[clip]\nfps = {self.fps:g}\nshoe_length_mm = {self.shoe_mm:.0f}\nview = "{self.view}"\n'


def clip_alone(
    events: dict[str, Array], high: Array, shot: ClipShot, rng: np.random.Generator
) -> tuple[list[Array], dict[str, Array]]:
    """Heel rises of S swings filmed without plates, and their true clip metrics.

    Returns one (2, frames) array for each swing, lead and trail heel rise, mm, and the metrics, (S,). `high`
    says where the lead heel lifts past the limit.
    """
    count = len(high)
    facing = shot.view == "face_on"
    lead = np.where(high, rng.uniform(60, 85, count), rng.uniform(4, 12 if facing else 34, count))
    at_impact = rng.uniform(14, 36, count)
    zero = np.zeros(count)
    end = events["finish"] + 0.3
    lead_rise = Curve(
        np.stack([zero, events["takeaway"] + 0.12, events["top"] - 0.05, events["top"] + 0.02,
                  events["mid_down"], end], axis=1),
        np.stack([zero, zero, lead, 0.96 * lead, zero, zero], axis=1),
    )  # fmt: skip
    trail_rise = Curve(
        np.stack(
            [zero, events["top"] + 0.05, events["mid_down"], events["impact"], events["finish"], end], 1
        ),
        np.stack([zero, zero, 0.25 * at_impact, at_impact, zero + 95, zero + 95], axis=1),
    )
    step = 0.001
    fine = [curve.at_grid(step, int(end.max() / step) + 2) for curve in (lead_rise, trail_rise)]
    frames = int(np.floor(end.min() * shot.fps))
    both = np.stack([curve.at_grid(1 / shot.fps, frames) for curve in (lead_rise, trail_rise)], axis=1)
    return list(both), _metrics(fine[0], fine[1], events, step)


def clip_beside(
    curves: SwingCurves, rows: Array, shot: ClipShot, rng: np.random.Generator
) -> tuple[list[Array], Array, dict[str, Array]]:
    """Heel rises filmed along with the plates, each clip's start in its swing (s), and the true metrics.

    A heel is seen over 15 mm up only where the statics leave no load on it: film and plate agree.
    """
    fine, part = 8, take_rows(curves, rows)
    step = 1 / (shot.fps * fine)
    signals = part.signals(step, int(part.end_s.max() / step) + 2)
    begin_along = float(np.median(part.lead_along.values[:, 0])) + 2
    lead = 0.6 * np.clip(signals["lead_along"] - begin_along, 0, 24)
    trail = 2.2 * np.clip(signals["trail_along"] - 68, 0, 30)
    begin = rng.integers(2 * fine, int(0.4 / step), len(rows))
    out = []
    for k, first in enumerate(begin):
        last = int(part.end_s[k] / step)
        out.append(np.stack([lead[k, first:last:fine], trail[k, first:last:fine]]))
    return out, begin * step, _metrics(lead, trail, part.events, step)


def clip_frame(
    rises: list[Array], numbers: Array, shot: ClipShot, stance_mm: float, rng: np.random.Generator
) -> pl.DataFrame:
    """Long rows of clip.csv: marks with pixel noise, a few unsure ones, and short gaps."""
    parts = [_one(rise, int(no), shot, stance_mm, rng) for rise, no in zip(rises, numbers, strict=True)]
    return pl.concat(parts)


def _one(rise: Array, no: int, shot: ClipShot, stance_mm: float, rng: np.random.Generator) -> pl.DataFrame:
    frames = rise.shape[1]
    x, y = np.empty((frames, 4)), np.empty((frames, 4))
    for k, foot in enumerate(("lead", "trail")):
        heel, toe = _places(shot, foot, stance_mm)
        scale = shot.scale * (0.97 if foot == "lead" and shot.view == "down_line" else 1.0)
        style = np.sign(toe[0] - heel[0]) * rise[k] ** 2 / (2 * shot.shoe_mm) * scale
        x[:, 2 * k], y[:, 2 * k] = heel[0] + style, heel[1] - rise[k] * scale
        x[:, 2 * k + 1], y[:, 2 * k + 1] = toe
    x, y = x + rng.normal(0, 0.35, x.shape), y + rng.normal(0, 0.35, y.shape)
    score = rng.uniform(0.82, 0.99, x.shape)
    unsure = rng.random(x.shape) < 0.01
    score[unsure] = rng.uniform(0.1, 0.4, int(unsure.sum()))
    y[unsure] += rng.normal(0, 25, int(unsure.sum()))
    frame = pl.DataFrame(
        {
            "swing_no": np.full(4 * frames, no, dtype=np.int32),
            "frame": np.repeat(np.arange(frames, dtype=np.int32), 4),
            "point": list(POINTS) * frames,
            "x_px": np.round(x.ravel(), 1),
            "y_px": np.round(y.ravel(), 1),
            "score": np.round(score.ravel(), 2),
        }
    )
    gap = int(rng.integers(5, frames - 10))
    lost = (pl.col("frame") >= gap) & (pl.col("frame") < gap + 3) & (pl.col("point") == "lead_toe")
    return frame.filter(~lost)


def _places(shot: ClipShot, foot: str, stance_mm: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Heel and toe of a foot at address in px; the picture is 1280 × 720, y down."""
    way = 1 if shot.toes_right else -1
    if shot.view == "down_line":
        nearer = foot == "trail"
        scale = shot.scale if nearer else shot.scale * 0.97
        heel = (640.0 - way * shot.shoe_mm * shot.scale / 2, 560.0 if nearer else 551.0)
        return heel, (heel[0] + way * shot.shoe_mm * scale, heel[1])
    side = 1 if foot == "lead" else -1
    heel = (640.0 + way * side * stance_mm * shot.scale / 2, 520.0)
    flare = shot.shoe_mm * shot.scale * (0.42 if foot == "lead" else 0.25)
    return heel, (heel[0] + way * side * flare, heel[1] + 0.2 * shot.shoe_mm * shot.scale)


def _metrics(lead: Array, trail: Array, events: dict[str, Array], step: float) -> dict[str, Array]:
    time = np.arange(lead.shape[1]) * step

    def at(values: Array, event: str) -> Array:
        near = np.abs(time - events[event][:, None]) <= 0.010 + 1e-9
        return (values * near).sum(axis=1) / near.sum(axis=1)

    before = time <= events["top"][:, None]
    return {
        "lead_heel_rise_mm": np.where(before, lead, 0).max(axis=1),
        "lead_heel_rise_at_top_mm": at(lead, "top"),
        "trail_heel_rise_at_mid_down_mm": at(trail, "mid_down"),
        "trail_heel_rise_at_impact_mm": at(trail, "impact"),
    }
