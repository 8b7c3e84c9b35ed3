"""Pictures are upright however the phone was held."""

from datetime import datetime

import av
import numpy as np
import pytest

import made_films
from ingest.film.following import follow_film
from ingest.film.pictures import captured_rate, first_picture, pictures, taken_by
from warehouse.errors import Refused


@pytest.fixture(scope="module")
def upright(tmp_path_factory):
    """A short film that is stored as it is shown."""
    return made_films.film(tmp_path_factory.mktemp("upright") / "clip.mp4", seconds=0.4, seed=6)


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_a_film_stored_on_its_side_is_seen_upright(tmp_path, upright, turn):
    made_films.on_its_side(upright.path, tmp_path / "clip.mp4", turn)
    with av.open(str(tmp_path / "clip.mp4")) as held:
        stored = next(held.decode(video=0)).to_ndarray(format="gray")
    seen, shown = (list(pictures(path, "clip.mp4")) for path in (tmp_path / "clip.mp4", upright.path))
    assert len(seen) == len(shown) == len(upright.times_s)
    for one, other in zip(seen, shown, strict=True):
        for plane in ("y", "cb", "cr"):
            turned, true = (getattr(picture, plane).astype(float) for picture in (one, other))
            assert turned.shape == true.shape
            assert np.abs(turned - true).mean() < 3
    if stored.shape == shown[0].y.shape:
        assert np.abs(stored.astype(float) - shown[0].y).mean() > 10


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_marks_stand_where_the_upright_picture_shows_them(tmp_path, upright, turn):
    made_films.on_its_side(upright.path, tmp_path / "clip.mp4", turn)
    tracks = follow_film(tmp_path / "clip.mp4", "clip.mp4")
    assert tracks.size == (upright.look.width, upright.look.height)
    for true in upright.places[0]:
        assert np.hypot(*(tracks.places[0] - true).T).min() < 2


def test_the_first_picture_is_refused_where_there_is_none(tmp_path, upright):
    assert np.array_equal(first_picture(upright.path, "clip.mp4").y, next(pictures(upright.path, "a.mp4")).y)
    whole = upright.path.read_bytes()
    (tmp_path / "clip.mp4").write_bytes(whole[: whole.index(b"mdat") + 4])
    with pytest.raises(Refused, match=r"clip\.mp4: no .* can be read from it.*; .*deliver the session again"):
        first_picture(tmp_path / "clip.mp4", "clip.mp4")


@pytest.mark.parametrize(
    ("said", "taken"),
    [
        ("2026-05-03T09:30:00Z", "2026-05-03T09:30:00"),
        ("2026-05-03T09:30:00+02:00", "2026-05-03T07:30:00"),
        ("1999-12-31T23:00:00Z", None),
        ("1970-01-01T00:00:30Z", None),
    ],
)
def test_a_film_says_by_when_it_was_taken_unless_its_clock_was_never_set(tmp_path, upright, said, taken):
    made_films.dated(upright.path, tmp_path / "clip.mp4", said)
    assert taken_by(tmp_path / "clip.mp4") == (taken and datetime.fromisoformat(taken))


def test_a_film_that_says_no_time_or_is_none_was_taken_at_an_unknown_time(tmp_path, upright):
    assert taken_by(upright.path) is None
    (tmp_path / "clip.mp4").write_bytes(b"no film")
    assert taken_by(tmp_path / "clip.mp4") is None
    assert taken_by(tmp_path / "missing.mp4") is None


@pytest.mark.parametrize(("said", "rate"), [("240.000000", 240.0), ("0", None), ("fast", None)])
def test_a_film_says_at_what_rate_it_was_filmed(tmp_path, upright, said, rate):
    """Source of the key: MediaFormat.KEY_CAPTURE_RATE of the Android Open Source Project."""
    captured = {"com.android.capture.fps": said}
    made_films.dated(upright.path, tmp_path / "clip.mp4", "2026-05-03T09:30:00Z", **captured)
    assert captured_rate(tmp_path / "clip.mp4") == rate
    assert taken_by(tmp_path / "clip.mp4") == datetime.fromisoformat("2026-05-03T09:30:00")


def test_a_film_that_says_no_rate_or_is_none_was_filmed_at_an_unknown_one(tmp_path, upright):
    assert captured_rate(upright.path) is None
    assert captured_rate(tmp_path / "missing.mp4") is None
