"""The swing view: two sessions or two swings over each other, times at the posts, and the film's slider."""

import numpy as np
import pytest

from dashboard.pages.student import films, swings
from dashboard.pages.student.swings import SwingChoice
from dashboard.queries import sessions
from warehouse.access import Reader

FIRST, LAST = "2026-01-12-s01", "2026-03-23-s01"


def test_two_swings_of_one_session_are_laid_over_each_other(reader_of):
    curves = swings.swing_curves(reader_of("full", "c01"), SwingChoice(LAST, 1), SwingChoice(LAST, 2), "iron")
    assert curves.swings == 1
    assert set(curves.load["which"]) == {"this session", "first session"}


def test_a_swing_laid_over_itself_is_drawn_once(reader_of):
    curves = swings.swing_curves(reader_of("full", "c01"), SwingChoice(LAST, 1), SwingChoice(LAST, 1), "iron")
    assert set(curves.load["which"]) == {"this session"}


def test_nothing_laid_over_leaves_the_session_alone(reader_of):
    curves = swings.swing_curves(reader_of("full", "c01"), SwingChoice(LAST), None, "iron")
    assert (curves.swings, set(curves.load["which"])) == (5, {"this session"})


def test_the_posts_carry_their_time_from_the_takeaway(reader_of):
    times = swings.swing_curves(reader_of("full", "c01"), SwingChoice(LAST), None, "iron").times
    assert times == pytest.approx(
        {
            "address": -0.3,
            "takeaway": 0,
            "mid_back": 0.5,
            "top": 0.8,
            "mid_down": 1.0,
            "impact": 1.1,
            "finish": 1.7,
        }
    )


def test_the_address_opens_two_chosen_swings_and_names_both(visit):
    address = {"session": LAST, "swing": "2", "over": FIRST, "over-swing": "1"}
    at = visit("full", "student", "c01", student="s01", **address)
    assert not at.exception
    curves = "".join(str(element.proto) for element in at.get("vega_lite_chart"))
    assert "dashes: 12 January 2026, swing 1" in curves
    assert "line: 23 March 2026, swing 2" in curves
    assert '"impact"' in curves.replace("\\", "")
    assert "1.10" in curves


def test_the_films_lanes_share_the_plates_clock_and_its_events(reader_of):
    found = films.lanes(reader_of("full", "c01"), LAST, 1)
    assert len(found["times"]) == len(found["lead"]) == len(found["trail"]) <= films.MOST_POINTS
    assert found["times"][0] == 0.0
    assert ("impact", 1.6) in found["events"]
    # The trace's lead heel carries 3/7 of the lead load, and the first twentieth of it weighs 700 N.
    assert found["lead"][0] == pytest.approx(100 * 3 * (50 + 35 * np.sin(-np.pi)) / 700, abs=0.06)


@pytest.mark.parametrize(
    ("clock", "expected"),
    [
        ((None, ["clip_unsynced"]), films.APART),
        ((0.2, ["clip_unchecked"]), films.UNCHECKED),
        ((0.2, []), None),
    ],
)
def test_a_film_whose_clock_or_swing_is_uncertain_says_so(
    visit, page_text, monkeypatch, tmp_path, clock, expected
):
    film = tmp_path / "clip.mp4"
    film.write_bytes(b"film")
    monkeypatch.setattr(Reader, "film", lambda *_: film, raising=False)
    monkeypatch.setattr(films.sessions, "film_clock", lambda *_: clock)
    text = page_text(visit("full", "student", "c01", student="s01", session=LAST, swing="3"))
    assert [sentence for sentence in (films.APART, films.UNCHECKED) if sentence in text] == [expected] * bool(
        expected
    )


def test_the_films_clock_is_that_of_its_swing(reader_of):
    assert sessions.film_clock(reader_of("full", "c01"), LAST, 1) == (None, [])


def test_the_film_of_the_chosen_swing_is_below_its_pictures(visit, monkeypatch, tmp_path):
    film = tmp_path / "clip.mp4"
    film.write_bytes(b"film")
    monkeypatch.setattr(
        Reader, "film", lambda self, session, swing_no: film if swing_no == 3 else None, raising=False
    )
    with_film = visit("full", "student", "c01", student="s01", session=LAST, swing="3")
    assert not with_film.exception
    assert "film-2026-03-23-s01-3" in str(with_film._tree)
    assert "film-2026-03-23" not in str(
        visit("full", "student", "c01", student="s01", session=LAST, swing="2")._tree
    )
