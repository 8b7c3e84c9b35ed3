"""Films dropped beside an export on *New session* are delivered as those of a folder made by hand."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

import builders
import made_films
import made_swings
from dashboard import previews, readers
from dashboard.pages.session import content, films, saving
from ingest.preview import preview
from models.samples import published_moments
from warehouse.store import writer


def test_a_film_dropped_beside_an_export_is_kept_with_its_swing_as_one_in_a_folder_is(tmp_path, monkeypatch):
    home = builders.make_home(tmp_path / "academy")
    assert builders.load_all(home, [made_swings.write_roster(tmp_path / "drop")]) == []
    monkeypatch.setattr(previews, "_looks", [lambda brought: preview(brought, published_moments(home))])
    made_films.film(tmp_path / "IMG_0420.mp4", seconds=1.6)
    brought = (
        ("monday.csv", made_swings.swing_frame(rate_hz=100).write_csv().encode()),
        ("IMG_0420.mp4", (tmp_path / "IMG_0420.mp4").read_bytes()),
    )
    reader = readers.reader(home, "h1").by(lambda: readers.reader(home, "h1"))
    began = datetime(2026, 5, 5, 10, tzinfo=UTC)
    visit = content.Visit("s1", "7-iron", "full", "mat", "", began)
    opened = content.opened(reader, visit, brought)
    [film] = opened.preview.films
    assert (film.rate, film.seconds, film.problem) == (60.0, pytest.approx(1.6, abs=0.05), "")
    assert "impact" in opened.preview.swings[0].events
    assert films.guesses(opened.preview) == {"IMG_0420.mp4": 1}
    chosen = replace(visit, films=content.KeptFilms({"IMG_0420.mp4": 1}, 60.0, "down_line"))
    saving.save(reader, [(chosen, opened, {})])
    assert builders.load_all(home, [home.inbox]) == []
    with writer(home) as w:
        found = w.sql("SELECT has_plate, has_clip, clip_fps FROM academy.session").rows()
        points = w.sql("SELECT DISTINCT point FROM academy.clip_point").to_series()
    assert found == [(True, True, 60.0)]
    assert len(points) == 4
