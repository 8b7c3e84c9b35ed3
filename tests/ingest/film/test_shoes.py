"""The width of shoes in drawn films from the front, whose true width is known."""

import numpy as np
import pytest

import made_films
from ingest.film.following import follow_film
from ingest.film.points import name_points
from ingest.film.shoes import shoe_width_px

GRASS = (70, 121, 96)  # blue, green, red of the floor's mean


def width_and_truth(path, *, handed="right", shoe_width_mm=100.0, **how):
    """Width as measured (or None), and as drawn, px."""
    made = made_films.film(
        path, seconds=0.35, view="face_on", handed=handed, shoe_width_mm=shoe_width_mm, **how
    )
    tracks = follow_film(made.path, "clip.mp4")
    order = name_points(tracks, 60.0, "face_on", handed, "clip.mp4").order
    found = shoe_width_px(made.path, "clip.mp4", tracks, order, shoe_width_mm / made_films.SHOE_MM)
    return found, shoe_width_mm * made.shot.scale * made.look.width / 1280


@pytest.mark.parametrize("seed", range(10))
def test_the_width_is_within_8_percent_through_shake_noise_and_blur(tmp_path, seed):
    rng = np.random.default_rng(seed)
    width = int(rng.choice([480, 640, 960]))
    found, true = width_and_truth(
        tmp_path / "clip.mp4",
        handed=str(rng.choice(["right", "left"])),
        shoe_width_mm=float(rng.uniform(85, 115)),
        width=width,
        jitter_px=float(rng.uniform(1, 4)),
        noise=float(rng.uniform(2, 9)),
        soft_px=float(rng.uniform(0, 2)) * width / 960,
        body=bool(rng.random() < 0.5),
        tape=made_films.TAPES[seed % len(made_films.TAPES)],
        seed=seed,
    )
    assert found == pytest.approx(true, rel=0.08)


@pytest.mark.parametrize("shoe", [(235, 238, 240), (20, 20, 22), (130, 60, 40), (160, 160, 160)])
def test_shoes_of_any_colour_that_the_floor_has_not_are_measured(tmp_path, shoe):
    found, true = width_and_truth(tmp_path / "clip.mp4", width=640, shoe=shoe, jitter_px=2.0, seed=3)
    assert found == pytest.approx(true, rel=0.08)


@pytest.mark.parametrize("seed", range(3))
def test_shoes_of_the_floors_colour_have_no_width(tmp_path, seed):
    found, _ = width_and_truth(tmp_path / "clip.mp4", width=640, shoe=GRASS, jitter_px=2.0, seed=seed)
    assert found is None


@pytest.mark.parametrize("turned_deg", [(0, 0), (20, 5), (25, 15)])
@pytest.mark.parametrize("tilt_deg", [8, 13, 30])
def test_feet_turned_out_before_a_camera_looking_down_show_the_same_width(
    tmp_path, monkeypatch, turned_deg, tilt_deg
):
    """The way from heel to toe is long · sin(turn) across the picture, long · cos(turn) · sin(tilt) down it."""

    def places(rises, shot, stance_mm, width):
        scale, out = shot.scale * width / 1280, np.empty((rises.shape[1], 4, 2))
        for k, side in enumerate((1, -1)):
            turn, tilt = np.radians(turned_deg[k]), np.radians(tilt_deg)
            heel = np.array([width / 2 + side * stance_mm * scale / 2, 0.62 * width * 9 / 16])
            there = np.array([side * np.sin(turn), np.cos(turn) * np.sin(tilt)]) * shot.shoe_mm * scale
            out[:, 2 * k], out[:, 2 * k + 1] = heel, heel + there
            out[:, 2 * k, 1] -= rises[k] * scale
        return out

    monkeypatch.setattr("demo_academy.films.mark_places", places)
    found, true = width_and_truth(tmp_path / "clip.mp4", width=800, jitter_px=1.5, soft_px=0.7)
    assert found == pytest.approx(true, rel=0.08)


def test_shoes_that_differ_have_no_width(tmp_path, monkeypatch):
    measured = iter([40.0, 47.0])
    monkeypatch.setattr("ingest.film.shoes._width", lambda *_: next(measured))
    assert width_and_truth(tmp_path / "clip.mp4", width=480)[0] is None
