"""Heels and toes tapped on pictures of a film: planted heights come back, and no millimetre without a scale."""

import shutil
from contextlib import closing

import pytest

import builders
import made_films
import made_swings as made
from dashboard.pages.deliveries import content as deliveries
from dashboard.pages.film import content
from dashboard.pages.student import heels_seen
from dashboard.text.labels import EVENTS
from warehouse.access import open_reader
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.store import open_snapshot

RATE = 60
FRAMES = {"address": 30, "mid_back": 66, "top": 90, "mid_down": 102, "impact": 108}
RISES_MM = {  # lead, trail
    "address": (0, 0), "mid_back": (46, 0), "top": (34, 1), "mid_down": (2, 30), "impact": (0, 62),
}  # fmt: skip
HEEL_FIRST = RISES_MM | {"top": (1, 0)}
PX_PER_MM, SHOE_MM = 0.8, 275  # a foot of 250 mm and 25 mm for the shoe
CAMERA = {"mid_back": (3, -6), "impact": (-4, 9)}  # where the camera has moved to, px


@pytest.fixture(scope="module")
def with_roster(tmp_path_factory):
    base = tmp_path_factory.mktemp("tapped")
    home = builders.make_home(base / "academy", "demo = true\n" + builders.SETTINGS)
    builders.load_all(home, [made.write_roster(base / "drop")])
    return home


@pytest.fixture
def home(with_roster, tmp_path):
    return Home(shutil.copytree(with_roster.path, tmp_path / "academy"))


def places(event, rises_mm, *, view="down_line", shoe_px=SHOE_MM * PX_PER_MM):
    """Heels and toes in a moment's picture, px; of a right-hander."""
    (lead, trail), (x, y) = rises_mm[event], CAMERA.get(event, (0, 0))
    if view == "down_line":  # the trail foot is nearer the camera
        feet = {"lead": (400, 500, shoe_px, 0), "trail": (380, 560, shoe_px, 0)}
    else:  # the lead foot is on the right, toes toward the camera
        feet = {"lead": (700, 500, 12, 60), "trail": (380, 500, -12, 60)}
    found = {}
    for (foot, (at, down, across, toward)), rise_mm in zip(feet.items(), (lead, trail), strict=True):
        found[f"{foot}_heel"] = [at + x, down + y - rise_mm * PX_PER_MM]
        found[f"{foot}_toe"] = [at + across + x, down + toward + y]
    return found


def tapped(rises_mm=RISES_MM, *, swap=False, view="down_line", **more):
    """The form's answer: points alone, nothing said of heels by eye."""
    moments = []
    for event, frame in FRAMES.items():
        points = places(event, rises_mm, view=view)
        if swap:
            other = {"lead": "trail", "trail": "lead"}
            points = {f"{other[name.split('_')[0]]}_{name.split('_')[1]}": at for name, at in points.items()}
        moments.append({"event": event, "t_s": frame / RATE, "points": points})
    return made_films.marked(moments, rate=RATE, view=view, shoe_mm=None) | more


def keep(home, form, student="s1"):
    """Kept, loaded, and what is known then of each heel at each moment, and of the swing."""
    content.keep(open_reader(home, "c1"), student, form)
    assert builders.load_all(home, [home.inbox]) == []
    with closing(open_snapshot(home)) as snapshot:
        heels = snapshot.sql(
            "SELECT event, foot, up, source, rise_mm, rise_se_mm FROM academy.heel_seen"
        ).rows(named=True)
        swing = snapshot.sql(
            "SELECT * FROM academy.swing LEFT JOIN academy.swing_metric USING (session, swing_no)"
        ).row(0, named=True)
    return {(row["event"], row["foot"]): row for row in heels}, swing


def forget_foot(home, tmp_path):
    people = (made.write_roster(tmp_path) / "people.csv").read_text().replace(",250,", ",,")
    (home.inbox / "people.csv").write_text(people)
    builders.load_all(home, [home.inbox / "people.csv"])


def test_planted_heights_come_back_though_the_camera_moved(home):
    heels, swing = keep(home, tapped())
    for event, rises_mm in RISES_MM.items():
        for foot, rise_mm in zip(("lead", "trail"), rises_mm, strict=True):
            seen = heels[event, foot]
            assert seen["source"] == "points"
            assert seen["rise_mm"] == pytest.approx(rise_mm, abs=1.5)
            assert 2 < seen["rise_se_mm"] < 15
            assert seen["up"] is (rise_mm > 15)
    assert (swing["clip_scale_source"], swing["clip_scale_se_pct"], swing["usable"]) == ("foot", 6, True)
    assert swing["lead_heel_rise_at_top_mm"] == pytest.approx(34, abs=1.5)
    assert swing["trail_heel_rise_at_mid_down_mm"] == pytest.approx(30, abs=1.5)
    assert swing["trail_heel_rise_at_impact_mm"] == pytest.approx(62, abs=1.5)
    assert swing["lead_heel_rise_mm"] is None  # the highest lies between moments, where nobody tapped
    assert swing["flags"] == []


@pytest.mark.parametrize(
    ("rises_mm", "said"),
    [
        (HEEL_FIRST, "the lead heel was down again up to 0.60\u00a0s before the trail heel rose"),
        (RISES_MM, "between the same two moments"),
        (dict.fromkeys(FRAMES, (0, 0)), ""),
    ],
)
def test_order_and_timing_follow_from_the_taps(home, rises_mm, said):
    keep(home, tapped(rises_mm))
    section = heels_seen.part(open_reader(home, "c1"), "s1")
    assert said in section.sentences[0]
    assert bool(section.sentences[0]) == bool(said)
    (row,) = section.table[0].rows(named=True)
    assert ("mm" in row[EVENTS["mid_back"]]) == bool(said)


def test_without_the_length_of_a_shoe_or_foot_no_millimetre_is_said(home, tmp_path):
    forget_foot(home, tmp_path)
    heels, swing = keep(home, tapped())
    assert {key: row["up"] for key, row in heels.items()} == {
        (event, foot): rise_mm > 15
        for event, rises_mm in RISES_MM.items()
        for foot, rise_mm in zip(("lead", "trail"), rises_mm, strict=True)
    }
    assert (
        {row["rise_mm"] for row in heels.values()} == {row["rise_se_mm"] for row in heels.values()} == {None}
    )
    assert not [name for name, value in swing.items() if "heel_rise" in name and value is not None]
    assert (swing["clip_scale_source"], swing["clip_scale_se_pct"], swing["usable"]) == (
        "unknown",
        None,
        False,
    )
    section = heels_seen.part(open_reader(home, "c1"), "s1")
    assert " mm" not in str(section.table[0].rows()).replace("\u00a0", " ")


def test_a_stated_shoe_counts_before_the_foot(home):
    heels, swing = keep(home, tapped(shoe_mm=1.2 * SHOE_MM))
    assert swing["clip_scale_source"] == "shoe"
    assert heels["impact", "trail"]["rise_mm"] == pytest.approx(1.2 * 62, abs=3)


def test_from_the_front_only_what_is_clearly_up_or_down_is_said(home):
    heels, swing = keep(home, tapped(RISES_MM | {"mid_down": (2, 16)}, view="face_on"))
    assert swing["clip_scale_source"] == "unknown"
    assert heels["impact", "trail"]["up"]
    assert heels["mid_back", "lead"]["up"]
    assert not heels["impact", "lead"]["up"]
    assert ("mid_down", "trail") not in heels
    assert {row["rise_mm"] for row in heels.values()} == {None}


@pytest.mark.parametrize("view", ["down_line", "face_on"])
def test_feet_tapped_the_wrong_way_round_are_asked_about_and_stay_out(home, view):
    _, swing = keep(home, tapped(swap=True, view=view))
    assert swing["flags"] == ["feet_swapped"]
    (question,) = deliveries.swapped_feet(open_reader(home, "h1"))
    assert "the points tapped on the film" in question
    assert "finish" not in question


def test_who_looked_again_and_found_the_feet_right_is_not_asked(home):
    _, swing = keep(home, tapped(swap=True, feet_checked=True))
    assert swing["flags"] == []


def test_eye_and_points_that_differ_are_a_question_and_the_eye_counts(home):
    form = tapped()
    form["moments"][-1]["trail"] = "down"
    content.keep(open_reader(home, "c1"), "s1", form)
    builders.load_all(home, [home.inbox])
    section = heels_seen.part(open_reader(home, "c1"), "s1")
    assert section.sentences[1:] == (
        "At impact the eye and the tapped points disagree about the trail heel; look at that picture again.",
    )
    assert section.table[0]["impact"].to_list() == ["lead down, trail down"]


def test_a_consent_to_film_that_ends_takes_the_taps_out_of_use(home):
    keep(home, tapped())
    (home.inbox / "consents.csv").write_text(
        "student,given_by,purpose,from,to\ns1,s1,measure,2026-01-01,\ns1,s1,film,2026-01-01,2026-06-01\n"
    )
    assert builders.load_all(home, [home.inbox]) == []
    reader = open_reader(home, "c1")
    assert reader.sql("SELECT count(*) FROM heel_seen").item() == 0
    assert reader.sql("SELECT count(trail_heel_rise_at_impact_mm) FROM swing_metric").item() == 0
    with pytest.raises(CallError, match="No consent to film"):
        content.keep(reader, "s1", tapped())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda form: form["moments"][0]["points"].pop("lead_toe"), "both heels and both toes at address"),
        (lambda form: form.update(rate=0), "Pictures per second"),
        (lambda form: form.update(rate="60"), "Pictures per second"),
        (lambda form: form.update(shoe_mm=31), "A shoe is between"),
        (lambda form: form.update(view="above"), "where the film was taken from"),
        (lambda form: [m["points"].clear() for m in form["moments"]], "at least one heel"),
    ],
)
def test_taps_that_cannot_be_meant_are_not_kept(home, change, said):
    form = tapped()
    change(form)
    with pytest.raises(CallError, match=said):
        content.keep(open_reader(home, "c1"), "s1", form)
    assert list(home.inbox.iterdir()) == []
