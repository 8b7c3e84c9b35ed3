"""The click of the strike in a film's own sound, made apart from what listens (filmed_feet.py)."""

import av
import numpy as np
import pytest

import filmed_feet as feet_of
from ingest.film.points import read_tracks, write_tracks
from ingest.film.sound import RATE_HZ, clicks_in, clicks_s
from ingest.film.tracks import Filmed, Tracks

FLIGHT_S = 2.0 / 343.0
WORLDS = {
    "plain": {},
    "echoes of a hall": {"echoes": 4},
    "wind": {"wind": 0.25},
    "wind and echoes": {"wind": 0.15, "echoes": 2},
}


def heard(world, seed, **more):
    """Clicks found and when the strike is heard, s on the film's clock."""
    swing = feet_of.MAKERS[sorted(feet_of.MAKERS)[seed % 8]](seed, seed)
    film = feet_of.camera(swing, seed, fps=60.0)
    sound = feet_of.microphone(film, swing.impact_s, seed, rate_hz=RATE_HZ, **(WORLDS[world] | more))
    return clicks_in(sound), swing.impact_s - film.offset_s + FLIGHT_S


@pytest.mark.parametrize("world", WORLDS)
def test_the_one_strike_is_heard_to_3_ms(world):
    found = [heard(world, seed) for seed in range(40)]
    assert np.mean([len(clicks) == 1 and abs(clicks[0] - true) < 0.003 for clicks, true in found]) >= 0.95


def test_a_neighbours_strike_as_loud_is_a_second_click_and_a_faint_one_is_none():
    swing = feet_of.hinge(1, 1)
    film = feet_of.camera(swing, 1)
    sound = feet_of.microphone(film, swing.impact_s, 1, rate_hz=RATE_HZ)
    for loud, count in ((0.9, 2), (0.1, 1)):
        later = np.roll(sound, int(0.4 * RATE_HZ)) * loud
        assert len(clicks_in(np.clip(sound + later, -1, 1))) == count


def test_a_swing_without_a_ball_has_no_click():
    assert not any(heard("plain", seed, ball=False)[0] for seed in range(20))
    assert not any(heard("wind", seed, ball=False)[0] for seed in range(20))
    assert clicks_in(np.zeros(RATE_HZ)) == clicks_in(np.zeros(10)) == []


def written(path, sound, rate=44_100, codec="aac", late_s=0.0):
    """A film of grey pictures with this sound, which begins `late_s` after the first picture."""
    with av.open(str(path), "w") as made:
        video = made.add_stream("libx264", rate=30, options={"preset": "ultrafast"})
        video.width, video.height, video.pix_fmt = 160, 120, "yuv420p"
        audio = None if sound is None else made.add_stream(codec, rate=rate)
        for n in range(60):
            grey = np.full((120, 160, 3), 40 + n, dtype=np.uint8)
            made.mux(video.encode(av.VideoFrame.from_ndarray(grey, format="rgb24")))
        made.mux(video.encode(None))
        if audio is not None:
            for start in range(0, sound.size - 1024, 1024):
                block = sound[start : start + 1024].astype(np.float32)[None]
                frame = av.AudioFrame.from_ndarray(block, format="fltp", layout="mono")
                frame.sample_rate, frame.pts = rate, start + round(late_s * rate)
                made.mux(audio.encode(frame))
            made.mux(audio.encode(None))
    return path


@pytest.mark.parametrize("late_s", [0.0, 0.3])
def test_a_click_is_on_the_clock_of_the_pictures(tmp_path, late_s):
    """At 1.2 s of its own, in a sound track that begins with the pictures or after them."""
    rng = np.random.default_rng(1)
    sound = rng.normal(0, 0.003, 2 * 44_100)
    at = round(1.2 * 44_100)
    ring = np.arange(2000) / 44_100
    sound[at : at + 2000] += 0.6 * np.exp(-ring / 0.006) * np.sin(2 * np.pi * 3200 * ring)
    found = clicks_s(written(tmp_path / "clip-1.mp4", sound, late_s=late_s))
    assert found == (pytest.approx(1.2 + late_s, abs=0.003),)


def test_a_film_without_sound_says_nothing_and_one_without_a_click_hears_none(tmp_path):
    assert clicks_s(written(tmp_path / "silent.mp4", None)) is None
    assert clicks_s(written(tmp_path / "quiet.mp4", np.random.default_rng(2).normal(0, 0.003, 88_200))) == ()


@pytest.mark.parametrize("clicks", [None, (), (0.5,), (0.5, 1.25)])
def test_clicks_are_kept_with_the_tracks_of_a_film(clicks):
    tracks = Tracks(
        np.arange(3) / 30, np.ones((3, 4, 2)), np.ones((3, 4)), np.zeros((3, 2)), (0, 0), clicks_s=clicks
    )
    assert read_tracks(write_tracks(tracks)).clicks_s == clicks


def test_a_stated_distance_takes_most_of_the_error_out(tmp_path):
    tracks = Tracks(np.arange(3) / 30, np.ones((3, 4, 2)), np.ones((3, 4)), np.zeros((3, 2)), (0, 0))
    film = Filmed(1, "clip-1.mp4", tmp_path, tracks, (0, 1, 2, 3), 1.0, keep_original=True)
    assert film.strikes(None) == (None, None)
    heard = Filmed(
        1,
        "",
        tmp_path,
        read_tracks(write_tracks(_with(tracks, (1.0,)))),
        (0, 1, 2, 3),
        1.0,
        keep_original=True,
    )
    (near,), surely = heard.strikes(34.3)
    assert near == pytest.approx(0.9)
    assert surely < heard.strikes(None)[1]


def _with(tracks, clicks):
    return Tracks(tracks.times_s, tracks.places, tracks.scores, tracks.shakes, tracks.size, None, clicks)
