"""Tracks become named points on the clip's own clock."""

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

import made_films
from demo_academy.clips import ClipShot
from demo_academy.films import mark_places
from ingest.film.points import name_marks, name_points, read_tracks, write_tracks
from ingest.film.tracks import Tracks
from warehouse.errors import Refused
from warehouse.vocabulary import POINTS


def standing(view, handed):
    """(4, 2) px of POINTS at address."""
    shot = ClipShot(60.0, made_films.SHOE_MM, view, 0.95, handed == "right")
    return mark_places(np.zeros((2, 1)), shot, made_films.STANCE_MM, 960)[0]


def tracks(times, places=None):
    still = np.repeat(standing("down_line", "right")[None], len(times), axis=0) if places is None else places
    return Tracks(np.asarray(times), still, np.ones((len(times), 4)), np.zeros((len(times), 2)), (960, 540))


@pytest.mark.parametrize("view", ["down_line", "face_on"])
@pytest.mark.parametrize("handed", ["right", "left"])
@pytest.mark.parametrize("seed", range(4))
def test_marks_are_named_in_whatever_order_they_were_found(view, handed, seed):
    rng = np.random.default_rng(seed)
    shuffled = rng.permutation(4)
    places = standing(view, handed)[shuffled] + rng.normal(0, 4, (4, 2))
    order = name_marks(places, view, handed)
    assert [POINTS[shuffled[mark]] for mark in order] == list(POINTS)


def test_a_left_handers_film_is_a_right_handers_in_the_mirror():
    for view in ("down_line", "face_on"):
        right = standing(view, "right")
        mirrored = right * (-1, 1) + (960, 0)
        assert name_marks(mirrored, view, "left") == name_marks(right, view, "right")


def test_points_stand_at_whole_frames_whatever_the_pictures_times():
    rng = np.random.default_rng(1)
    times = np.sort(np.arange(60) / 60 + rng.uniform(-0.004, 0.004, 60))
    times -= times[0]
    places = np.repeat(standing("down_line", "right")[None], 60, axis=0)
    places[:, 2, 1] -= 100 * times
    named = name_points(tracks(times, places), 60.0, "down_line", "right", "clip.mp4")
    frames = np.arange(len(named.places))
    assert np.allclose(named.places[:, 2, 1], places[0, 2, 1] - 100 * frames / 60, atol=0.05)


def test_a_stretch_without_pictures_is_a_gap_and_a_lost_mark_stays_lost():
    times = np.delete(np.arange(60) / 60, slice(20, 26))
    given = tracks(times)
    given.places[40, 1] = np.nan
    given.scores[40, 1] = 0.0
    named = name_points(given, 60.0, "down_line", "right", "clip.mp4")
    seen = named.rows().group_by("frame").len().sort("frame")
    assert set(range(60)) - set(seen["frame"]) == set(range(20, 26))
    assert seen.filter(seen["len"] == 3)["frame"].to_list() == [46]


def test_slow_motion_runs_at_the_pace_of_the_swing():
    named = name_points(tracks(np.arange(240) / 30), 240.0, "down_line", "right", "clip.mp4")
    assert named.slower == pytest.approx(8.0)
    assert len(named.places) == 240  # one second


def test_a_film_with_more_pictures_than_stated_is_refused():
    with pytest.raises(Refused, match=r"clip.mp4: it has 120 pictures a second but \[clip\] says fps = 30"):
        name_points(tracks(np.arange(120) / 120), 30.0, "down_line", "right", "clip.mp4")


@pytest.mark.parametrize(("captured", "plays", "fps"), [(60.0, 30, 60.0), (60.0, 60, 60.0), (30.0, 60, 60.0)])
def test_a_film_filmed_at_the_stated_rate_or_that_plays_no_slower_than_it_was_filmed_is_taken(
    captured, plays, fps
):
    given = replace(tracks(np.arange(60) / plays), captured_fps=captured)
    assert name_points(given, fps, "down_line", "right", "clip.mp4").slower == pytest.approx(fps / plays)


@pytest.mark.parametrize("fps", [30.0, 120.0])
def test_slow_motion_that_its_own_head_tells_is_refused_under_another_rate(fps):
    given = replace(tracks(np.arange(60) / 30), captured_fps=60.0)
    with pytest.raises(
        Refused, match=rf"filmed at 60 pictures a second but \[clip\] says fps = {fps:g}; corr"
    ):
        name_points(given, fps, "down_line", "right", "clip.mp4")


def test_when_and_at_what_rate_a_film_was_taken_is_kept_with_the_tracks():
    given = tracks(np.arange(30) / 60)
    assert (read_tracks(write_tracks(given)).taken_at, read_tracks(write_tracks(given)).captured_fps) == (
        None,
        None,
    )
    said = replace(given, taken_at=datetime.fromisoformat("2026-05-03T09:30:00"), captured_fps=239.98)
    again = read_tracks(write_tracks(said))
    assert (again.taken_at, again.captured_fps) == (said.taken_at, said.captured_fps)


def test_tracks_kept_beside_a_film_say_the_same_as_before():
    given = tracks(np.arange(30) / 60)
    given.places[3, 2] = np.nan
    given.scores[3, 2] = 0.0
    again = read_tracks(write_tracks(given))
    assert np.allclose(again.places, given.places, atol=1e-3, equal_nan=True)
    assert np.allclose(again.times_s, given.times_s, atol=1e-6)
    assert np.array_equal(again.scores, given.scores)


def test_the_shoes_width_is_kept_with_the_tracks_and_older_tracks_have_none():
    given = tracks(np.arange(30) / 60)
    assert b"shoe_width_px" not in write_tracks(given)
    assert read_tracks(write_tracks(given)).shoe_width_px is None
    assert read_tracks(write_tracks(replace(given, shoe_width_px=51.237))).shoe_width_px == 51.24
