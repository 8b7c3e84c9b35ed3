"""A film and a plate of one swing, their clocks apart by an unknown time: the film is followed, the clocks are found."""

import numpy as np
import polars as pl
import pytest

import made_films
from ingest.film.following import follow_film
from ingest.film.points import name_points
from models.swing.clip import Clip, heel_rise
from models.swing.sync import ClipSide, PlateSide, match_session, toeward

RATE_HZ = 250.0


def along(t, late):
    """Lead foot toward the toes about 1.2 s, trail foot onto the toes from 1.9 s, % of foot length."""
    lead = 50 + 18 * np.exp(-(((t - 1.15 - late[0]) / 0.2) ** 2))
    return np.array([lead, 52 + 40 / (1 + np.exp(-(t - 1.9 - late[1]) / 0.06))])


def rises(t, late):
    lead, trail = along(t, late)
    return np.array([1.6 * np.maximum(lead - 54, 0), 2.2 * np.maximum(trail - 68, 0)])


@pytest.mark.slow
def test_the_offset_is_found_within_a_frame_for_95_percent_of_filmed_swings(tmp_path):
    within = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        fps, view = float(rng.choice([60.0, 60.0, 120.0])), str(rng.choice(["down_line", "face_on"]))
        offset, late = float(rng.uniform(-0.4, 0.4)), rng.normal(0, 0.03, 2)
        grid_s = np.arange(2500) / 1000
        start = float(rng.uniform(0.5, 1.2))
        made = made_films.film(
            tmp_path / "clip.mp4", fps=fps, seconds=2.2, view=view, seed=seed, jitter_px=2.0, noise=5.0,
            hidden=("lead_toe", start, start + 0.15), rise_curves=(grid_s, rises(grid_s + offset, late)),
        )  # fmt: skip
        points = name_points(follow_film(made.path, "clip.mp4"), fps, view, "right", "clip.mp4").rows()
        clip = Clip(points.with_columns(swing_no=pl.lit(1)), fps, made_films.SHOE_MM, view)
        stance = (220.0, 0.0, 0.0, 0.0, -220.0, 0.0, 0.0, 0.0) if view == "face_on" else None
        rise = heel_rise(clip.points, clip, 0.2, stance)
        samples = along(np.arange(int(3.2 * RATE_HZ)) / RATE_HZ - 0.5, late)
        samples = samples + rng.normal(0, 0.4, samples.shape)
        plate = np.array([toeward(np.full(line.size, 400.0), line, RATE_HZ) for line in samples])
        clip = ClipSide(np.array([rise.lead_mm, rise.trail_mm]), fps)
        found = match_session({1: clip}, {1: PlateSide(plate, RATE_HZ, -0.5)})[1]
        error = found.lag_s - rise.first_frame / fps - offset
        within.append(found.holds(1 / fps) and abs(error) < 1 / fps)
    assert np.mean(within) >= 0.95
