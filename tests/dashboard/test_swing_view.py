"""The swing view: two sessions or two swings over each other, times at the posts, and the film's slider."""

import duckdb
import numpy as np
import polars as pl
import pytest

from dashboard.pages.student import films, swings
from dashboard.pages.student.swings import SwingChoice
from dashboard.queries import sessions
from warehouse.access import Reader
from warehouse.errors import AccessError

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


def test_a_film_placed_at_no_offset_at_all_is_not_shown_where_it_might_have_been(reader_of, monkeypatch):
    clock = sessions.FilmClock(0.0, 0.004, "by_hand", [], 60.0, [0.4])
    monkeypatch.setattr(films.sessions, "film_clock", lambda *_: clock)
    assert films._measured(reader_of("full", "c01"), LAST, 3)[0]["offset_s"] == 0.0


def test_a_coach_chooses_among_pictures_in_the_order_of_the_film_and_nobody_else_is_asked(
    reader_of, monkeypatch
):
    clock = sessions.FilmClock(None, None, None, ["clip_feet_disagree"], 60.0, [0.1, 0.7])
    monkeypatch.setattr(films.sessions, "film_clock", lambda *_: clock)
    shown, why = films._measured(reader_of("full", "c01"), LAST, 1)
    assert shown["asked"] == [0.7, 0.1]  # the later the film began, the earlier the strike is in it
    assert why.endswith(films.CHOOSE_STRIKE)
    assert "asked" not in films._measured(reader_of("full", "s01"), LAST, 1)[0]


@pytest.mark.parametrize("flag", ["clip_taken_apart", "clip_films_shifted"])
def test_a_film_that_may_be_another_swings_is_not_said_to_lie_where_its_heels_suggest(flag):
    said = films.placed_by(sessions.FilmClock(None, None, None, [flag], 60.0, [0.4]), staff=True)
    assert said == f"{films.QUESTIONS[flag]} {films.MARK_STRIKE}"


@pytest.mark.parametrize(
    ("clock", "expected"),
    [
        ((None, None, None, ["clip_unsynced"], 60.0), films.APART),
        ((None, None, None, ["clip_unsynced"], 60.0, [0.4]), films.ROUGH),
        ((0.2, 0.02, "heard", ["clip_heels_low"], 60.0), films.UNCONFIRMED),
        ((0.2, 0.004, "heard", [], 60.0), None),
    ],
)
def test_a_film_whose_clock_or_swing_is_uncertain_says_so(
    visit, page_text, monkeypatch, tmp_path, clock, expected
):
    film = tmp_path / "clip.mp4"
    film.write_bytes(b"film")
    monkeypatch.setattr(Reader, "film", lambda *_: film, raising=False)
    monkeypatch.setattr(films.sessions, "film_clock", lambda *_: sessions.FilmClock(*clock))
    text = page_text(visit("full", "student", "c01", student="s01", session=LAST, swing="3"))
    said = [sentence for sentence in (films.APART, films.ROUGH, films.UNCONFIRMED) if sentence in text]
    assert said == [expected] * bool(expected)


@pytest.mark.parametrize(
    ("source", "flags", "candidates", "words"),
    [
        ("heard", [], None, "Placed by the sound of the strike (± 4 ms)."),
        ("marked", ["clip_feet_disagree"], [0.2, 0.5], "film and plate (± 4 ms). Its heels do not move when"),
        (None, ["clip_strikes_unclear"], [0.1, 0.2], "Its sound has several clicks"),
        (None, ["clip_feet_disagree"], [0.1, 0.7], "its marks say they should. Choose the picture"),
        (None, ["clip_unsynced"], [0.1], "Go to the picture in which the ball is struck"),
        (None, [], None, films.APART),
    ],
)
def test_the_page_says_what_places_a_film_and_how_surely(source, flags, candidates, words):
    offset, error = (0.2, 0.0042) if source else (None, None)
    clock = sessions.FilmClock(offset, error, source, flags, 60.0, candidates)
    assert words in films.placed_by(clock, staff=True)
    assert "struck" not in films.placed_by(clock, staff=False)


def test_where_a_coach_put_a_film_is_kept_as_their_note_and_no_one_elses_swing_can_be_moved(
    reader_of, monkeypatch
):
    kept = []
    monkeypatch.setattr(
        films.inbox, "deliver_notes", lambda reader, lines: kept.append((reader.viewer.person, lines))
    )
    films.keep_place(reader_of("full", "c01"), LAST, 1, -0.12345678)
    (who, (line,)) = kept.pop()
    assert (who, line["author"], line["student"], line["shared"]) == ("c01", "c01", "s01", False)
    assert (line["kind"], line["session"], line["swing_no"], line["value"]) == (
        "swing_film",
        LAST,
        1,
        -0.1235,
    )
    with pytest.raises(AccessError):
        films.keep_place(reader_of("full", "c02"), LAST, 1, 0.0)
    assert not kept


def test_the_films_clock_is_that_of_its_swing(reader_of):
    assert sessions.film_clock(reader_of("full", "c01"), LAST, 1)[:4] == (None, None, None, [])


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


def test_the_page_draws_where_each_foots_pressure_is_and_says_where_it_should_be(reader_of, visit):
    curves = swings.swing_curves(reader_of("full", "c01"), SwingChoice(LAST), None, "iron")
    assert set(curves.places["foot"]) == {"lead foot", "trail foot"}
    assert curves.places["mean"].is_between(0, 100).all()
    section = swings.places_part(curves, {"top_lead_along_pct": (45.0, 80.0)}, [], narrow=False)
    assert section.picture.rows.filter(pl.col("Event") == "top")["Lead foot should be"].item() == "45–80"
    assert section.sentences == ()
    page = visit("full", "student", "c01", student="s01", session=LAST)
    drawn = "".join(str(element.proto) for element in page.get("vega_lite_chart"))
    assert "dashes: trail foot" in drawn


def test_a_foot_off_the_ground_has_no_place():
    stretched = {
        "position": np.array([0.0, 1.0]), "lead_n": np.array([[350.0, 30.0]]), "trail_n": np.array([[350.0, 670.0]]),
        "lead_along_pct": np.array([[50.0, 12.0]]), "trail_along_pct": np.array([[50.0, 60.0]]),
    }  # fmt: skip
    rows = swings._places(stretched, np.array([[700.0]]))
    places = rows.select("foot", "position", "mean").rows()
    assert places == [("lead foot", 0.0, 50.0), ("trail foot", 0.0, 50.0), ("trail foot", 1.0, 60.0)]


@pytest.mark.parametrize(("family", "numbers"), [("driver", [1]), ("iron", [])])
def test_a_lead_foot_that_left_the_ground_is_described_for_the_longest_clubs(reader_of, family, numbers):
    """Swing 1: 2 % of body weight left after a strike from the lead side; 2: it stays down; 3: from the trail side."""

    class Tables:
        def sql(self, query, values):
            with duckdb.connect() as db:
                db.execute("CREATE TABLE swing AS SELECT 's' AS session, n AS swing_no, ? AS club_family, true AS usable "
                           "FROM range(1, 4) AS t(n)", [family])  # fmt: skip
                db.execute(
                    "CREATE TABLE swing_metric (session VARCHAR, swing_no BIGINT, "
                    "lead_least_after_impact_pct_bw DOUBLE, impact_lead_share_pct DOUBLE)"
                )
                db.execute(
                    "INSERT INTO swing_metric VALUES ('s', 1, 2, 75), ('s', 2, 40, 75), ('s', 3, 2, 25)"
                )
                return pl.DataFrame(db.execute(query, values).fetchall(), schema=["swing_no"], orient="row")

    assert sessions.lead_foot_left(Tables(), "s", family) == numbers
    curves = swings.swing_curves(reader_of("full", "c01"), SwingChoice(LAST), None, "iron")
    said = swings.places_part(curves, {}, numbers, narrow=False).sentences
    assert bool(said) == bool(numbers)
    assert all("lead foot left the ground (1)" in words and "no fault" in words for words in said)
