"""The first page: only for whoever started the pages, it makes an academy once, and asks what a list leaves open."""

from pathlib import Path

import pytest

import builders
from app_test import AppTest
from dashboard import admitted, layout, location
from dashboard.first_page import content
from dashboard.first_page.content import Typed
from warehouse import browsers, founding
from warehouse.errors import AccessError, CallError
from warehouse.home import Home
from warehouse.store import open_snapshot

APP = Path(__file__).parents[2] / "dashboard" / "app.py"


@pytest.fixture
def empty(tmp_path, monkeypatch):
    home = Home(tmp_path / "new")
    home.make_folders()
    monkeypatch.setenv("UNDERFOOT_HOME", str(home.path))
    monkeypatch.setattr(location, "peer", lambda: None)
    monkeypatch.setattr(layout, "FIRST_ALONE_S", 0.0)
    return home


@pytest.fixture
def started(empty, monkeypatch):
    """A browser that came by the printed address."""
    token = browsers.invite(empty, None, browsers.START_GOOD, on_this_machine=True)
    secret = browsers.let_in(empty, token, "")
    monkeypatch.setattr(admitted, "_secret", lambda home: secret)
    return secret


def opened():
    return AppTest.from_file(str(APP), default_timeout=30).run()


def field(at, label):
    found = [
        e
        for kind in (at.text_input, at.text_area, at.selectbox, at.checkbox)
        for e in kind
        if e.label.startswith(label)
    ]
    assert len(found) == 1, label
    return found[0]


def test_who_did_not_start_the_pages_is_shown_no_form(empty, page_text):
    at = opened()
    assert "not signed in" in page_text(at)
    assert len(at.button) == len(at.text_input) == 0


def test_an_invitation_from_elsewhere_makes_no_academy(empty, monkeypatch):
    secret = browsers.let_in(empty, browsers.invite(empty, None), "")
    monkeypatch.setattr(admitted, "_secret", lambda home: secret)
    with pytest.raises(AccessError):
        admitted.Starter(empty, secret).check()


def test_names_and_a_pasted_list_make_an_academy_that_loads_and_opens_as_its_head_coach(
    empty, started, page_text
):
    at = opened()
    assert next(b for b in at.button if b.label == "Make the academy").disabled
    field(at, "Name of the academy").input("Foot first")
    field(at, "Time zone").select("Europe/Berlin")
    field(at, "Your name").input("Ada Kern")
    field(at, "Other coaches").input("Bo Lind")
    at = (
        field(at, "Type one name")
        .input("Name\tBorn\tCoach\nMia Orr\t03/04/2012\tBo Lind\nTom Pell\t05/06/1980\t")
        .run()
    )
    assert "day or the month" in page_text(at)
    assert next(b for b in at.button if b.label == "Make the academy").disabled
    at = field(at, "Dates in this list").select("day").run()
    field(at, "being measured").check()
    field(at, "Walk through").uncheck()
    at = next(b for b in at.button if b.label == "Make the academy").click().run()
    assert not at.exception
    assert "The academy is made" in page_text(at)
    assert builders.load_all(empty, [empty.inbox]) == []
    snapshot = open_snapshot(empty)
    people = snapshot.sql("SELECT person, role, born::VARCHAR FROM academy.person ORDER BY person").rows()
    assert people == [
        ("c01", "head_coach", None),
        ("c02", "coach", None),
        ("s001", "student", "2012-04-03"),
        ("s002", "student", "1980-06-05"),
    ]
    assert snapshot.sql("SELECT student, coach FROM academy.coaching ORDER BY student").rows() == [
        ("s001", "c02"),
        ("s002", "c01"),
    ]
    assert snapshot.sql("SELECT DISTINCT student FROM academy.consent").rows() == [("s002",)]
    assert len(snapshot.sql("SELECT drill FROM academy.drill")) == len(founding.starter_drills()) - 1
    snapshot.close()
    at = opened()
    assert not at.exception
    assert "Sign out" in [b.label for b in at.button]
    viewer = admitted.InBrowser(browsers.find(empty, started).key, None).reader(empty).viewer
    assert (viewer.person, viewer.role, viewer.display_name) == ("c01", "head_coach", "Ada Kern")


def test_a_sign_in_that_has_ended_makes_nothing(empty, started):
    browsers.end(empty, browsers.find(empty, started).key)
    season = ("2026", *founding.this_year("UTC").values())
    typed = Typed("A", "UTC", "Ada", season[:1] + season[2:])
    with pytest.raises(AccessError, match="has ended"):
        content.make(empty, typed, admitted.Starter(empty, started))
    assert not empty.settings_file.exists()


def test_the_command_makes_the_same_academy_and_says_what_is_odd(empty, tmp_path):
    file = tmp_path / "list.csv"
    file.write_text("Name,Born,Foot\nMia,2012-04-03,24\n")
    given = {"time_zone": "Europe/Berlin", "coaches": (), "consents_elsewhere": True, "no_drills": True}
    with pytest.raises(CallError, match="your name"):
        content.make_from_options(empty, name="A", head_coach=None, students=file, **given)
    said = content.make_from_options(empty, name="A", head_coach="Ada", students=file, **given)
    assert "foot length “24”" in " ".join(said)
    assert empty.settings().consents_kept_elsewhere
    assert builders.load_all(empty, [empty.inbox]) == []
    with pytest.raises(CallError, match="already"):
        content.check_new(empty)


@pytest.mark.parametrize(("text", "words"), [("Mia,03/04/2012", "2012-04-03")])
def test_the_command_does_not_guess_a_day(empty, tmp_path, text, words):
    file = tmp_path / "list.csv"
    file.write_text(f"Name,Born\n{text}\n")
    with pytest.raises(CallError, match=words):
        content.make_from_options(
            empty,
            name="A",
            head_coach="Ada",
            students=file,
            time_zone="UTC",
            coaches=(),
            consents_elsewhere=True,
            no_drills=True,
        )
    assert not empty.settings_file.exists()
