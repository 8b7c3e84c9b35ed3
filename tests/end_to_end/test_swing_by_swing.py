"""The Swings page, and the reference swing: chosen on the page, loaded, drawn, and withheld when it must be."""

import shutil
from contextlib import closing
from pathlib import Path

import polars as pl
import pytest
from streamlit.util import calc_hash

import builders
import made_swings as made
from app_test import AppTest
from dashboard import location, reference_swing
from dashboard.pages.student import swings as pictures
from dashboard.pages.student.swings import SwingChoice
from dashboard.pages.swings import content
from dashboard.pages.swings.content import ANY, NONE, Filter
from dashboard.queries import people, swings
from dashboard.student_season import StudentSeason
from underfoot import _loader
from warehouse import invented
from warehouse.access import open_reader
from warehouse.errors import AccessError, CallError
from warehouse.home import Home
from warehouse.store import open_snapshot

APP = str(Path(__file__).parents[2] / "dashboard" / "app.py")
# Stays on the trail side: 30 % of the load under the lead foot at impact.
STUCK = made.SOUND | {0.98: (30, 110, 55, 46), 1.06: (30, 110, 55, 46)}
CONSENT = "student,given_by,purpose,from,to\n"


def session(drop: Path, code: str, student: str, coach: str) -> None:
    """Swings 1 and 2 as usual (2 stuck), 3 and 4 slow, 5 after the drill d1."""
    text = made.session_toml(code, student, coach=coach, swings=5)
    for no, more in ((3, 'pace = "slow"'), (4, 'pace = "slow"'), (5, 'part = "after_drill"\ndrill = "d1"')):
        text = text.replace(f"no = {no}\n", f"no = {no}\n{more}\n")
    frames = [made.swing_frame(no, points=STUCK if no == 2 else made.SOUND, seed=no) for no in range(1, 6)]
    made.write_session(drop / code, text, pl.concat(frames))


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    base = tmp_path_factory.mktemp("swings")
    home = builders.make_home(base / "academy", "demo = true\n" + builders.SETTINGS)
    drop = made.write_roster(base / "drop")
    agreed = (drop / "consents.csv").read_text() + "s3,s3,show_swing,2026-01-01,\n"
    (drop / "consents.csv").write_text(agreed)
    session(drop, "v1", "s1", "c1")
    session(drop, "v3", "s3", "c2")
    assert builders.load_all(home, [drop]) == []
    return home


@pytest.fixture
def home(loaded, tmp_path):
    return Home(Path(shutil.copytree(loaded.path, tmp_path / "academy")))


def reader(home: Home, person: str):
    return open_reader(home, person)


def chosen_of(home: Home, person: str = "h1", student: str = "s1") -> StudentSeason:
    found = reader(home, person)
    return StudentSeason(found, people.student(found, student), "2026", "iron")


def numbers(chosen: StudentSeason, **by: str) -> list[int]:
    return content.filtered(content.everything(chosen), Filter(**by))["swing_no"].to_list()


def test_the_table_shows_each_swings_pace_drill_faults_and_values(loaded):
    chosen = chosen_of(loaded)
    table = content.table(chosen, content.everything(chosen))
    assert table["Swing"].to_list() == [1, 2, 3, 4, 5]
    assert table["Pace"].to_list() == ["full", "full", "slow", "slow", "full"]
    assert table["Made"].to_list() == ["before any drill"] * 4 + ["after Quiet heel"]
    at_impact = table["Weight on the front foot, at impact (%)"].to_list()
    assert at_impact[0] == pytest.approx(74, abs=1)
    assert at_impact[1] == pytest.approx(30, abs=1)
    faults = content.everything(chosen)["faults"].to_list()
    assert set(faults[1]) - set(faults[0])
    named = table["Faults shown"].to_list()
    assert all(chosen.fault_names[code] in named[1] for code in faults[1])


def test_each_filter_keeps_its_own_swings_alone(loaded):
    chosen = chosen_of(loaded)
    assert numbers(chosen, drill="d1") == [5]
    assert numbers(chosen, drill=NONE) == [1, 2, 3, 4]
    assert numbers(chosen, club="driver") == []
    assert numbers(chosen, session="v1", club="iron") == [1, 2, 3, 4, 5]
    clean, stuck = content.everything(chosen)["faults"][:2]
    only_stuck = next(fault for fault in stuck if fault not in clean.to_list())
    assert numbers(chosen, fault=only_stuck) == [2]
    assert sorted(numbers(chosen, fault=ANY) + numbers(chosen, fault=NONE)) == [1, 2, 3, 4, 5]


def test_slow_swings_and_those_after_a_drill_are_drawn_beside_the_full_ones(loaded):
    found = reader(loaded, "c1")
    groups = pictures.groups(found, "v1", "iron")
    assert [name for _, name in groups.values()] == [
        "slow (2\u00a0swings)",
        "after Quiet heel (1\u00a0swing)",
    ]
    slow, after = (choice for choice, _ in groups.values())
    curves = pictures.swing_curves(found, SwingChoice("v1"), slow, "iron")
    assert curves.swings == 2  # the slow ones are not among the full ones
    assert set(curves.load["which"]) == {"this session", "first session"}
    assert pictures.swing_curves(found, after, None, "iron").swings == 1


def test_the_cleanest_swing_is_offered_first(loaded):
    assert next(iter(content.offered(reader(loaded, "c1"), "s1", "iron"))) == "v1 1"


def test_players_are_offered_by_build_and_only_with_their_consent(loaded):
    assert list(content.players(chosen_of(loaded))) == ["s1", "s3"]
    unlike = swings.others(reader(loaded, "h1"), "s1", "iron")["unlike"].to_list()
    assert unlike == [pytest.approx(100 * (254 / 250 - 1))]
    assert list(content.players(chosen_of(loaded, "c1"))) == ["s1"]  # s3 is another coach's student


def page(home: Home, monkeypatch, path: str, person: str, **address: str) -> AppTest:
    monkeypatch.setenv("UNDERFOOT_HOME", str(home.path))
    monkeypatch.setattr(location, "peer", lambda: None)  # AppTest has no connection
    monkeypatch.setattr(invented, "people_digest", lambda _: "")  # its people are the demo's
    app = AppTest.from_file(APP, default_timeout=60)
    app._page_hash = calc_hash(path)
    for name, value in ({"as": person} | address).items():
        app.query_params[name] = value
    return app.run()


def drawn(app: AppTest) -> str:
    return "".join(str(element.proto) for element in app.get("vega_lite_chart"))


def said(app: AppTest) -> str:
    kinds = ("markdown", "info", "success", "error")
    return "\n".join(str(element.value) for kind in kinds for element in getattr(app, kind))


def test_a_reference_chosen_on_the_page_is_drawn_beneath_the_curve_until_its_consent_ends(home, monkeypatch):
    app = page(home, monkeypatch, "swings", "h1", student="s1", whose="s3")
    app.button[0].click().run()
    assert "Saved. It shows on the pages once it is loaded." in said(app)
    assert builders.load_all(home, [home.inbox]) == []
    assert "wide line: Mina Harrow, swing 1 of 5 May 2026" in drawn(
        page(home, monkeypatch, "student", "h1", student="s1")
    )
    others_coach = page(home, monkeypatch, "student", "c1", student="s1")
    assert "wide line" not in drawn(others_coach)
    assert "is of a player whom you do not coach" in said(others_coach)
    assert "Mina" not in said(others_coach) + drawn(others_coach)

    (home.inbox / "consents.csv").write_text(
        CONSENT
        + "s1,s1,measure,2026-01-01,\ns3,s3,measure,2026-01-01,\ns3,s3,show_swing,2026-01-01,2026-08-01\n"
    )
    builders.load_all(home, [home.inbox])
    after = page(home, monkeypatch, "student", "h1", student="s1")
    assert "wide line" not in drawn(after)
    assert "no consent to show Mina Harrow's swings" in said(after)
    with pytest.raises(CallError, match="No consent to show"):
        reference_swing.choose(reader(home, "h1"), "s1", "s3", "v3", 1)


def test_the_reference_can_be_ended_and_a_rebuild_knows_both(home):
    reference_swing.choose(reader(home, "c1"), "s1", "s1", "v1", 1)
    builders.load_all(home, [home.inbox])
    found = reference_swing.find(reader(home, "c1"), "s1", "iron")
    assert (found.session, found.swing_no, found.withheld) == ("v1", 1, "")
    assert reference_swing.find(reader(home, "c1"), "s1", "driver") is None
    with closing(open_snapshot(home)) as snapshot:
        before = snapshot.sql("SELECT * FROM academy.note").rows()
    _loader(home).rebuild()
    with closing(open_snapshot(home)) as snapshot:
        assert snapshot.sql("SELECT * FROM academy.note").rows() == before
    line = {"student": "s1", "at": "2099-01-01T00:00:00+00:00", "author": "c1", "kind": "reference_over",
            "code": "v1", "value": 1, "shared": False}  # fmt: skip
    reference_swing.inbox.deliver_notes(reader(home, "c1"), [line])
    builders.load_all(home, [home.inbox])
    assert reference_swing.find(reader(home, "c1"), "s1", "iron") is None


def test_nobody_chooses_a_swing_they_may_not_see(home):
    with pytest.raises(AccessError):
        reference_swing.choose(reader(home, "c1"), "s1", "s3", "v3", 1)
    assert list(home.inbox.iterdir()) == []


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (",s1,2026-06-01,h1,reference,v3,1", None),
        (",s1,2025-06-01,h1,reference,v3,1", "no_consent"),  # before the consent
        (",s3,2026-06-01,h1,reference,v1,1", "no_consent"),  # s1 never gave one
        (",s1,2026-06-01,h1,reference,v3,9", "unmatched_swing"),
        (",s1,2026-06-01,h1,reference,nowhere,1", "unmatched_swing"),
        (",s1,2026-06-01,h1,reference,v1,1.5", "out_of_range"),
        (",s1,2026-06-01,h1,reference,,1", "empty_value"),
    ],
)
def test_a_delivered_reference_is_refused_with_its_reason(home, line, reason):
    (home.inbox / "notes.csv").write_text(f"session,student,at,author,kind,code,value\n{line}\n")
    assert builders.load_all(home, [home.inbox]) == ([] if reason is None else [reason])
