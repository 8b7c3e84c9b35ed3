"""Pictures are upright however the phone was held."""

import av
import numpy as np
import pytest

import made_films
from ingest.film.following import follow_film
from ingest.film.frames import first_picture, pictures
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
