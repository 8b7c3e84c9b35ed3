"""Files of marked points with wild ones, gaps and an unknown clock: the offset and the heels come out right."""

import math

import numpy as np
import polars as pl
import pytest
from scipy.interpolate import PchipInterpolator

import made_swings
from models.swing.clip import Clip, heel_rise
from models.swing.placing import place_clips
from warehouse.traces import SessionTrace

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
    """A clip, a trace, and for each swing its true offset and its true rise (2, frames)."""
    gain = rng.uniform([0.9, 1.8], [1.4, 2.6])
    t = np.arange(int(4 * RATE)) / RATE
    columns = {name: [] for name in ("lead_n", "trail_n", "lead_along_pct", "trail_along_pct")}
    points, offsets, rises = [], [], []
    for number, course in enumerate(courses(rng, SWINGS), start=1):
        share, total, lead, trail = at(course, t)
        columns["lead_n"].append(7 * total * share / 100 + rng.normal(0, 2, t.size))
        columns["trail_n"].append(7 * total * (1 - share / 100) + rng.normal(0, 2, t.size))
        columns["lead_along_pct"].append(lead + rng.normal(0, 0.3, t.size))
        columns["trail_along_pct"].append(trail + rng.normal(0, 0.3, t.size))
        offsets.append(rng.uniform(-0.4, 0.4))
        rises.append(rise_of(course, np.arange(int(3.6 * FPS)) / FPS + offsets[-1], gain))
        points.append(points_of(rises[-1], number, rng, way))
    trace = SessionTrace(
        "s1", np.arange(1, SWINGS + 1, dtype=np.int32), np.arange(0, (SWINGS + 1) * t.size, t.size),
        np.full(SWINGS, RATE), np.zeros(SWINGS),
        {name: np.concatenate(parts).astype(np.float32) for name, parts in columns.items()},
    )  # fmt: skip
    return Clip(pl.concat(points), FPS, SHOE_MM, "down_line"), trace, offsets, rises


def no_impacts():
    return np.full((2, SWINGS), np.nan)


@pytest.mark.parametrize("way", [1, -1], ids=["right-handed", "left-handed"])
def test_wild_points_gaps_and_an_unknown_clock_leave_offset_and_heel_rise_right(build, way):
    """The offset is right within a frame for 95 % of swings, and the rise within 3 mm RMS."""
    rng = np.random.default_rng(20 + way)
    near, rms = [], []
    for _ in range(SESSIONS):
        clip, trace, offsets, rises = session(rng, way)
        rows, events = build.swing_rows(SWINGS), build.event_rows([{}] * SWINGS)
        swings, _ = place_clips(clip, trace, rows, events, None, no_impacts)
        for number, (offset, true) in enumerate(zip(offsets, rises, strict=True), start=1):
            found = swings["clip_offset_s"][number - 1]
            near.append(found is not None and abs(found - offset) < 1 / FPS)
            seen = heel_rise(clip.points.filter(swing_no=number), clip, 1.1 - offset, None)
            off = (
                np.array([seen.lead_mm, seen.trail_mm]) - true[:, seen.first_frame :][:, : seen.lead_mm.size]
            )
            rms.append(math.sqrt(np.nanmean(off**2)))
            assert np.isfinite(off).mean() > 0.95
    assert np.mean(near) >= 0.95
    assert np.mean(np.array(rms) < 3.0) >= 0.95
    assert np.median(rms) < 2.0


@pytest.mark.parametrize("way", [1, -1], ids=["right-handed", "left-handed"])
def test_a_clip_of_another_swing_is_refused_alone_and_beside_the_session_s_other_clips(build, way):
    """At least 95 % of them, of all clips dealt round, of one alone, and of one delivered for its neighbour."""
    rng = np.random.default_rng(40 + way)
    dealt, alone, twice = [], [], []
    for _ in range(SESSIONS):
        clip, trace, _, _ = session(rng, way)
        rows, events = build.swing_rows(SWINGS), build.event_rows([{}] * SWINGS)

        def held(points, clip=clip, trace=trace, rows=rows, events=events):
            alike = Clip(points, FPS, SHOE_MM, "down_line")
            swings, _ = place_clips(alike, trace, rows, events, None, no_impacts)
            return [offset is not None for offset in swings["clip_offset_s"]]

        number = pl.col("swing_no")
        dealt += held(clip.points.with_columns((number % SWINGS + 1).cast(pl.Int32)))
        for other in range(2, SWINGS + 1):
            as_first = clip.points.filter(number == other).with_columns(swing_no=pl.lit(1, pl.Int32))
            alone.append(held(as_first)[0])
            twice.append(held(pl.concat([as_first, clip.points.filter(number > 1)]))[0])
    assert np.mean(dealt) <= 0.05
    assert np.mean(alone) <= 0.05
    assert np.mean(twice) <= 0.05
