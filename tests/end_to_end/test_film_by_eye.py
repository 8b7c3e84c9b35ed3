"""An ordinary film, marked in a real browser: from the film on the device to rows, and to the student's page."""

import time
from contextlib import closing
from pathlib import Path

import av
import numpy as np
import pytest

import browser
import builders
import made_films
import made_swings as made
from dashboard.pages.film import content
from dashboard.pages.student import heels_seen
from warehouse.access import open_reader
from warehouse.errors import AccessError, CallError
from warehouse.home import Home
from warehouse.store import open_snapshot

RATE, PICTURES = 60, 60
MOMENTS = {"address": 1, "top": 11, "mid_down": 12, "impact": 22}  # pictures: few, as each is a click
HEELS = {
    "address": ("down", "down"),
    "top": ("up", "down"),
    "mid_down": ("down", "down"),
    "impact": ("down", "up"),
}


# Where heels and toes are tapped, px of the film: shoes of 100 px, so 2.75 mm a pixel for a foot of 250 mm.
TAPS = {
    "address": {
        "Lead heel": (90, 80), "Lead toe": (190, 80), "Trail heel": (80, 120), "Trail toe": (180, 120),
    },
    "top": {"Lead heel": (92, 64)},
}  # fmt: skip
TAPPED_RISE_MM = 16 * 2.75


def tap(page, x: float, y: float) -> None:
    """Tap a place of the film on the picture, however much of it the picture shows."""
    page.wait_for_timeout(150)  # the picture is shown once the film is there
    canvas = page.locator("canvas")
    left, top, wide, tall = map(float, canvas.get_attribute("data-view").split())
    box = canvas.bounding_box()
    at = {"x": (x - left) / wide * box["width"], "y": (y - top) / tall * box["height"]}
    canvas.click(position=at)


def film(path: Path) -> Path:
    """A film whose brightness counts its pictures: no tape, nothing to follow."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libvpx", rate=RATE)
        stream.width, stream.height, stream.pix_fmt, stream.bit_rate = 320, 180, "yuv420p", 2_000_000
        for k in range(PICTURES):
            picture = np.full((180, 320, 3), 20, np.uint8)
            picture[:, : 2 * k] = 220
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode())
    return path


@pytest.fixture(scope="module")
def made_home(tmp_path_factory):
    base = tmp_path_factory.mktemp("film-by-eye")
    home = builders.make_home(base / "academy", "demo = true\n" + builders.SETTINGS)
    assert builders.load_all(home, [made.write_roster(base / "drop")]) == []
    builders.call_invented(home)
    return home.path


@pytest.fixture
def home(made_home, tmp_path):
    """A home with a roster that a test may fill."""
    return builders.copied(made_home, Home(tmp_path / "academy"))


def marked(**more):
    moments = [
        {"event": event, "t_s": MOMENTS[event] / RATE, "lead": lead, "trail": trail}
        for event, (lead, trail) in HEELS.items()
    ]
    return made_films.marked(moments, fault=True) | more


@pytest.mark.browser
def test_a_film_is_marked_in_a_browser_and_is_on_the_students_page(home, chromium, tmp_path):
    with browser.served(home.path, tmp_path / "log") as base:
        page = chromium.new_page(viewport={"width": 390, "height": 844})
        page.goto(f"{base}/film?as=c1&student=s1")
        page.set_input_files("input[type=file]", film(tmp_path / "feet.webm"))
        page.get_by_text("Mark here: address").wait_for(timeout=20_000)
        page.get_by_text("Picture 0,").wait_for()
        assert float(page.get_by_label("Pictures per second as filmed").input_value()) == pytest.approx(
            RATE, rel=0.02
        )
        started = time.monotonic()
        at = 0
        for event, picture in MOMENTS.items():
            for name, size in (("+10", 10), ("+1", 1)):
                while picture - at >= size:
                    page.get_by_role("button", name=name, exact=True).click()
                    at += size
                    page.get_by_text(f"Picture {at},").wait_for()
            row = page.locator(f"[data-moment={event}]")
            row.get_by_role("button").click()
            for foot, heel in zip(("Lead heel", "Trail heel"), HEELS[event], strict=True):
                row.get_by_role("group", name=foot).get_by_role("button", name=heel, exact=True).click()
        page.locator("canvas").click(position={"x": 50, "y": 50})  # zooms in on what was tapped
        assert page.get_by_label("Zoom").input_value() == "3"
        for event, points in TAPS.items():
            row = page.locator(f"[data-moment={event}]")
            row.get_by_text("Heel and toe").click()
            for point, (x, y) in points.items():
                row.get_by_role("button", name=point, exact=True).click()
                tap(page, x, y)
                if event == "address":  # nothing is known of it yet: the first tap only enlarges
                    tap(page, x, y)
        page.get_by_text("the shoe counts as the foot's 250 mm and 25 mm more").wait_for()
        page.get_by_label("Filmed at").fill("2026-05-05T10:00")
        page.get_by_role("button", name="Save what is marked").click()
        page.get_by_text("Saved. It shows on the student's page").wait_for()
        assert time.monotonic() - started < 60
        page.close()
    assert builders.load_all(home, [home.inbox]) == []
    with closing(open_snapshot(home)) as snapshot:
        rows = snapshot.sql(
            "SELECT event, t_s, foot, up FROM academy.heel_seen WHERE source = 'eye' ORDER BY t_s, foot"
        ).rows()
        files = snapshot.sql("SELECT delivery, has_clip FROM academy.session").rows()
    assert [(event, foot, up) for event, _, foot, up in rows] == [
        (event, foot, heel == "up")
        for event, heels in HEELS.items()
        for foot, heel in zip(("lead", "trail"), heels, strict=True)
    ]
    for event, t_s, *_ in rows:
        assert t_s == pytest.approx(MOMENTS[event] / RATE, abs=1.01 / RATE)
    ((delivery, has_clip),) = files
    assert has_clip
    names = sorted(p.name for p in (home.filed / delivery).iterdir())
    assert names == ["clip.csv", "events.csv", "session.toml"]  # no film
    with closing(open_snapshot(home)) as snapshot:
        found = snapshot.sql("SELECT frame, point, x_px, y_px FROM academy.clip_point").rows()
        rise_mm = snapshot.sql("SELECT lead_heel_rise_at_top_mm FROM academy.swing_metric").item()
    planted = {
        (MOMENTS[event], point.lower().replace(" ", "_")): at
        for event, points in TAPS.items()
        for point, at in points.items()
    }
    assert {(frame, point): pytest.approx((x, y), abs=1) for frame, point, x, y in found} == planted
    assert rise_mm == pytest.approx(TAPPED_RISE_MM, abs=4)
    with browser.served(home.path, tmp_path / "log") as base:
        page = chromium.new_page(viewport={"width": 1280, "height": 1400})
        page.goto(f"{base}/student?as=c1&student=s1")
        page.get_by_text("Heels on film").first.wait_for(timeout=20_000)
        page.get_by_text(
            "the lead heel was down again up to 0.18\u00a0s before the trail heel rose"
        ).wait_for()
        page.close()


def test_a_trail_heel_still_down_at_impact_is_noted_as_that_fault(home):
    form = marked()
    form["moments"][-1]["trail"] = "down"
    content.keep(open_reader(home, "c1"), "s1", form)
    assert builders.load_all(home, [home.inbox]) == []
    reader = open_reader(home, "c1")
    note = reader.sql("SELECT kind, code, grade, swing_no, author, shared FROM note")
    assert note.rows() == [("saw", "trail_heel_down", 2, 1, "c1", False)]
    section = heels_seen.part(reader, "s1")
    assert section.table[0]["impact"].to_list() == ["lead down, trail down"]
    assert section.sentences == ("",)  # the trail heel never rose: no order to speak of
    assert heels_seen.part(open_reader(home, "h1"), "s2") is None


def test_what_the_two_heels_did_first_is_told_only_as_far_as_the_moments_go():
    def film_of(*heels):
        return [
            {"day": None, "t_s": k / 10, "lead_up": lead, "trail_up": trail}
            for k, (lead, trail) in enumerate(heels)
        ]

    s = "\u00a0s"
    assert f"lead heel was down again 0.10{s} to 0.30{s} before" in heels_seen.order(
        film_of((False, False), (True, False), (False, False), (False, False), (False, True))
    )
    assert f"trail heel rose up to 0.20{s} before" in heels_seen.order(
        film_of((True, False), (True, True), (False, True))
    )
    assert "can't be told" in heels_seen.order(film_of((True, False), (False, True)))
    assert heels_seen.order(film_of((False, False), (False, True))) == ""


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"moments": []}, "Mark at least two moments"),
        ({"moments": [{"event": "top", "t_s": 1.0, "lead": "up"}]}, "Mark at least two moments"),
        ({"moments": [{"event": "top", "t_s": 1.0}, {"event": "impact", "t_s": 1.2}]}, "at least one heel"),
        (
            {"moments": [{"event": "top", "t_s": 1.3, "lead": "up"}, {"event": "impact", "t_s": 1.2}]},
            "is marked before",
        ),
        ({"club": "umbrella"}, "not one of those offered"),
        ({"pace": "hasty"}, "not one of those offered"),
        ({"at": "soon"}, "day and time of filming"),
        ({"at": "2099-01-01T10:00"}, "is in the future"),
    ],
)
def test_what_cannot_be_meant_is_not_kept(home, more, said):
    with pytest.raises(CallError, match=said):
        content.keep(open_reader(home, "c1"), "s1", marked(**more))
    assert list(home.inbox.iterdir()) == []


def test_without_consent_or_in_another_coachs_charge_nothing_is_marked(home):
    with pytest.raises(AccessError):
        content.keep(open_reader(home, "c2"), "s1", marked())
    (home.inbox / "consents.csv").write_text(
        "student,given_by,purpose,from,to\ns1,s1,measure,2026-01-01,\ns1,s1,film,2026-01-01,2026-02-01\n"
    )
    builders.load_all(home, [home.inbox])
    with pytest.raises(CallError, match="No consent to film"):
        content.keep(open_reader(home, "c1"), "s1", marked())
