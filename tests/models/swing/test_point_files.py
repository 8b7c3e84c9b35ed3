"""Files of marked points with wild ones, gaps and an unknown clock: the offset and the heels come out right."""

import math

import numpy as np
import polars as pl
import pytest
from scipy.interpolate import PchipInterpolator

import made_swings
from models.swing.clip import Clip, heel_rise

FPS, RATE, SHOE_MM, PX_PER_MM = 120.0, 250.0, 285.0, 0.95
SESSIONS, SWINGS = 10, 6
POINT_NOISE_PX, WILD, LOST = 1.0, 0.01, 0.05


def courses(rng, count):
    """Sound swings with values and tempo of their own, of one golfer: [plate time -> (4, N)]."""
    keys = np.array(sorted(made_swings.SOUND))
    values = np.array([made_swings.SOUND[k] for k in keys], dtype=float)
    values[:, 2] = 50 + 2.2 * (values[:, 2] - 50)  # the lead heel is seen to lift
    values = values + rng.normal(0, 1, values.shape) * [1.5, 3, 1.5, 2]
    made = []
    for _ in range(count):
        bent = values + rng.normal(0, 1, values.shape) * [1, 1.5, 0.8, 0.9]
        bent[:2], bent[-2:] = bent[0], bent[-2]
        bent[:, 0] = np.minimum(bent[:, 0], 94)
        times = np.where(keys > 0, keys * np.exp(rng.normal(0, 0.03)), keys)
        made.append(PchipInterpolator(times, bent, extrapolate=False))
    return made


def at(course, t):
    return course(np.clip(t - 1.6, course.x[0], course.x[-1])).T


def rise_of(course, t, gain):
    _, _, lead, trail = at(course, t)
    first = at(course, np.array([1.0]))[2:, 0]
    return np.array([gain[0] * np.maximum(lead - first[0] - 2, 0), gain[1] * np.maximum(trail - 66, 0)])


def points_of(rise, number, rng, way):
    """Rows of academy.clip_point from behind, toes to the right (`way` 1) or left; shaken, wild and lost."""
    frames = rise.shape[1]
    rows = []
    for k, foot in enumerate(("lead", "trail")):
        scale = PX_PER_MM * (0.95 if foot == "lead" else 1.0)
        heel_x, floor_y = 640.0 - way * 135, 551.0 if foot == "lead" else 560.0
        lean = way * rise[k] ** 2 / (2 * SHOE_MM) * scale
        toe_x = heel_x + way * SHOE_MM * scale
        for part, x, y in (
            ("heel", heel_x + lean, floor_y - scale * rise[k]),
            ("toe", np.full(frames, toe_x), np.full(frames, floor_y)),
        ):
            xy = np.array([x, y]) + rng.normal(0, POINT_NOISE_PX, (2, frames))
            wild = rng.random(frames) < WILD
            xy[:, wild] += rng.choice([-1, 1], (2, wild.sum())) * rng.uniform(20, 200, (2, wild.sum()))
            lost = np.zeros(frames, dtype=bool)
            while lost.mean() < LOST:
                start = rng.integers(frames)
                lost[start : start + rng.integers(1, 7)] = True
            rows.append(
                pl.DataFrame(
                    {"swing_no": pl.Series([number] * frames, dtype=pl.Int32), "frame": np.arange(frames),
                     "point": [f"{foot}_{part}"] * frames, "x_px": xy[0], "y_px": xy[1],
                     "score": np.full(frames, 0.9)}
                ).filter(~pl.Series(lost))
            )  # fmt: skip
    return pl.concat(rows)


def session(rng, way):
    """A clip, and for each swing the time at which its film begins and its true rise (2, frames)."""
    gain = rng.uniform([0.9, 1.8], [1.4, 2.6])
    points, starts, rises = [], [], []
    for number, course in enumerate(courses(rng, SWINGS), start=1):
        starts.append(rng.uniform(-0.4, 0.4))
        rises.append(rise_of(course, np.arange(int(3.6 * FPS)) / FPS + starts[-1], gain))
        points.append(points_of(rises[-1], number, rng, way))
    return Clip(pl.concat(points), FPS, SHOE_MM, "down_line"), starts, rises


@pytest.mark.parametrize("way", [1, -1], ids=["right-handed", "left-handed"])
def test_wild_points_and_gaps_leave_the_heel_rise_right(way):
    """Within 3 mm RMS for 95 % of swings."""
    rng = np.random.default_rng(20 + way)
    rms = []
    for _ in range(SESSIONS):
        clip, starts, rises = session(rng, way)
        for number, (start, true) in enumerate(zip(starts, rises, strict=True), start=1):
            seen = heel_rise(clip.points.filter(swing_no=number), clip, 1.1 - start, None)
            off = (
                np.array([seen.lead_mm, seen.trail_mm]) - true[:, seen.first_frame :][:, : seen.lead_mm.size]
            )
            rms.append(math.sqrt(np.nanmean(off**2)))
            assert np.isfinite(off).mean() > 0.95
    assert np.mean(np.array(rms) < 3.0) >= 0.95
    assert np.median(rms) < 2.0
