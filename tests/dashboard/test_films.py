"""The films of a student's page: of swings without plate samples, of every pace, and of sessions without a plate."""

from datetime import date, datetime, time

import polars as pl
import pytest

from dashboard.pages.student import films
from dashboard.pages.student.swings import SwingChoice
from warehouse.filed import kept_film
from warehouse.store import writer

LAST = "2026-03-23-s01"  # on the plate, newest of s01
FILMED, FILMED_TOO = "2026-04-01-s01", "2026-04-08-s01"  # filmed only
NO_CLUB = "2026-04-09-s77"  # all there is of s77, filmed only, no club named
AFTER = "Sessions, drills and notes"  # the last header of the page
LISTS = {name: pl.List(pl.String) for name in ("flags", "file_flags")} | {
    name: pl.List(pl.Int32) for name in ("flag_counts", "file_flag_counts")
}


def swing(session: str, no: int, **other: object) -> dict[str, object]:
    """A row of a swing that no plate measured."""
    return {
        "session": session, "swing_no": no, "club": "7-iron", "club_family": "iron", "part": "baseline", "pace": "full",
        "n_samples": 0, "usable": True, "flags": [], "flag_counts": [], "file_flags": [], "file_flag_counts": [],
        "heel_source": "none",
    } | other  # fmt: skip


def keep(home, session: str, *swings: int) -> None:
    """Keep a film of each of these swings."""
    for no in swings:
        path = kept_film(home.filed / f"hash-{session}", no)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"film of " + str(no).encode())


@pytest.fixture(scope="module")
def filmed(homes):
    """The kind of a home where s01 has two sessions on film alone and, on the plate, three more films."""
    home = homes("filmed")
    with writer(home) as w:
        one = {
            "person": "s77",
            "role": "student",
            "display_name": "Pia Nordlicht",
            "born": date(1985, 5, 3),
            "joined": date(2025, 1, 1),
        }
        w.append("academy.person", pl.DataFrame([one]))
        agreed = {"purpose": "film", "from": date(2025, 1, 1)}
        agreed_by = [agreed | {"student": s, "given_by": by} for s, by in (("s01", "g01"), ("s77", "s77"))]
        w.append("academy.consent", pl.DataFrame(agreed_by))
        coached = {"student": "s77", "coach": "c01", "from": date(2025, 1, 1)}
        w.append("academy.coaching", pl.DataFrame([coached]))
        for code in (FILMED, FILMED_TOO, NO_CLUB):
            day = date.fromisoformat(code[:10])
            row = {
                "session": code, "student": code[-3:], "coach": "c01", "started_at": datetime.combine(day, time(15)),
                "day": day, "season": "2026", "delivery": f"hash-{code}", "club": "7-iron", "has_plate": False,
                "has_clip": True, "feet_checked": False, "reduced": True,
            }  # fmt: skip
            w.append("academy.session", pl.DataFrame([row]))
        rows = [
            swing(FILMED, 1), swing(FILMED, 2, pace="half", part="after_drill"), swing(FILMED, 3),
            swing(FILMED_TOO, 1, club_family=None, usable=False),
            swing(LAST, 7), swing(LAST, 8, pace="slow", usable=False),
            swing(NO_CLUB, 1, club=None, club_family=None, usable=False),
        ]  # fmt: skip
        w.append("academy.swing", pl.DataFrame(rows, schema_overrides=LISTS))
        w.publish()
    keep(home, FILMED, 1, 2)
    keep(home, FILMED_TOO, 1)
    keep(home, LAST, 3, 7, 8)
    keep(home, NO_CLUB, 1)
    return "filmed"


def shown(at) -> list[str]:
    """The films on a page, each as SESSION-SWING."""
    found = []
    for code in (FILMED, FILMED_TOO, LAST, NO_CLUB):
        found += [f"{code}-{no}" for no in range(1, 9) if f"film-{code}-{no}" in str(at._tree)]
    return found


def options(at, label: str) -> list[list[str]]:
    return [choice.options for choice in at.selectbox if choice.label == label]


def test_a_session_on_film_alone_shows_its_film_and_the_rest_of_the_page_stands(filmed, visit, page_text):
    at = visit(filmed, "student", "c01", student="s01", session=LAST, swing="3", filmed=FILMED)
    text = page_text(at)
    assert not at.exception
    assert shown(at) == [f"{FILMED}-1", f"{LAST}-3"]
    assert films.NO_PLATE in text
    assert AFTER in text


def test_filmed_sessions_are_chosen_by_day_and_their_swings_by_pace_and_part(filmed, visit):
    at = visit(filmed, "student", "c01", student="s01", filmed=FILMED, **{"filmed-swing": "2"})
    assert options(at, "Filmed session") == [["8 April 2026, 1\u00a0film", "1 April 2026, 2\u00a0films"]]
    assert ["Swing 1", "Swing 2, half pace, after a drill"] in options(at, "Film")
    assert f"{FILMED}-2" in shown(at)


def test_a_film_of_a_club_not_named_is_shown_with_any_clubs(filmed, visit):
    assert f"{FILMED_TOO}-1" in shown(visit(filmed, "student", "c01", student="s01", filmed=FILMED_TOO))


def test_a_student_with_nothing_but_a_film_of_no_named_club_sees_it_and_the_session(filmed, visit, page_text):
    at = visit(filmed, "student", "c01", student="s77")
    assert shown(at) == [f"{NO_CLUB}-1"]
    text = page_text(at)
    assert "has no measured swing in a season yet" in text
    assert AFTER in text
    assert list(at.dataframe[0].value["Day"]) == [date(2026, 4, 9)]


def test_a_filmed_swing_without_samples_does_not_end_the_page(filmed, visit, page_text):
    at = visit(filmed, "student", "c01", student="s01", session=LAST, swing="7", filmed=FILMED)
    text = page_text(at)
    assert not at.exception
    assert f"{LAST}-7" in shown(at)
    assert "no samples of swing" not in text
    assert text.count(films.NO_PLATE) == 2  # of this swing, and of the session on film alone
    assert AFTER in text


def test_any_filmed_swing_of_a_plate_session_can_be_chosen_whatever_its_pace(filmed, visit):
    at = visit(filmed, "student", "c01", student="s01", session=LAST)
    assert ["Swing 3", "Swing 7", "Swing 8, slow"] in options(at, "Film")
    assert f"{LAST}-3" in shown(at)
    slow = visit(filmed, "student", "c01", student="s01", session=LAST, film="8")
    assert f"{LAST}-8" in shown(slow)


def test_a_swing_that_was_not_filmed_says_so_where_others_were(filmed, visit, page_text):
    at = visit(filmed, "student", "c01", student="s01", session=LAST, swing="2")
    assert "Swing 2 was not filmed." in page_text(at)
    assert not [one for one in shown(at) if one.startswith(LAST)]


def test_samples_that_cannot_be_read_leave_the_film(filmed, reader_of, monkeypatch):
    told, played = [], []
    monkeypatch.setattr(films.layout, "aside", told.append)
    monkeypatch.setattr(
        films.film_player, "show", lambda data, key, on_sent: played.append((key, data["times"]))
    )
    reader = reader_of(filmed, "c01")
    films.beside(reader, SwingChoice(LAST, 3), "iron")
    assert played[-1][1] != []
    path = next(reader.home.traces.rglob(f"{LAST}.parquet"))
    whole = path.read_bytes()
    path.write_bytes(b"no trace")
    try:
        films.beside(reader, SwingChoice(LAST, 3), "iron")
    finally:
        path.write_bytes(whole)
    assert played[-1] == (f"film-{LAST}-3", [])
    assert "can't be read" in told[-1]


def test_a_student_without_a_plate_and_without_films_has_no_section_of_films(visit, page_text):
    assert "Filmed session" not in str(visit("full", "student", "c01", student="s01")._tree)


def test_nobody_else_is_offered_a_students_films(filmed, visit):
    assert shown(visit(filmed, "student", "c02", student="s02")) == []
    assert shown(visit(filmed, "student", "c02", student="s01")) == []
