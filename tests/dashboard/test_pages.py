"""Every page for every role and every kind of home: it opens, says what it must, and keeps to the viewer's reach."""

import json
import shutil

import pytest

import chart_rules
from changed_academies import SORE, changed
from dashboard import app
from warehouse.store import writer

PAGES = tuple(page.path for page in app.PAGES)
PEOPLE = ("h01", "c01", "c02", "s01", "s02", "s03", "g01", "g02")
# Pages that name students to a coach in the full home.
NAMING = (
    "today",
    "week",
    "students",
    "student",
    "swings",
    "drills",
    "lesson",
    "notes",
    "session",
    "film",
    "progress",
    "deliveries",
)
STAFF = ("h01", "c01", "c02")


# Where nobody was measured, one coach is like the other, and so are the two grown-up students.
ALIKE_WHEN_EMPTY = ("c02", "s03")


@pytest.mark.parametrize(
    ("person", "kind"),
    [
        (person, kind)
        for person in PEOPLE
        for kind in ("full", "one_session", "empty")
        if kind != "empty" or person not in ALIKE_WHEN_EMPTY
    ],
)
@pytest.mark.parametrize("path", PAGES)
def test_every_page_opens_for_every_role_without_an_exception(visit, kind, path, person):
    at = visit(kind, path, person)
    assert [e.message for e in at.exception] == []
    assert at.title or at.info
    drawn = [json.loads(element.proto.spec) for element in at.get("vega_lite_chart")]
    assert [chart_rules.broken(spec, narrow=False) for spec in drawn] == [[]] * len(drawn)


def test_an_academy_without_a_roster_says_what_to_do(visit, page_text):
    at = visit("nobody", "students", "h01")
    assert not at.exception
    assert "people.csv" in page_text(at)


@pytest.mark.parametrize("path", ["students", "student", "deliveries"])
@pytest.mark.parametrize("person", ["s01", "g01"])
def test_a_student_or_guardian_is_refused_the_staffs_pages_even_by_link(visit, page_text, path, person):
    text = page_text(visit("full", path, person))
    assert "This page is not for you" in text
    assert "Sven" not in text


@pytest.mark.parametrize("path", PAGES)
def test_a_coach_never_sees_another_coachs_student(visit, page_text, path):
    at = visit("full", path, "c01")
    everything = page_text(at) + json.dumps([s.options for s in at.selectbox if s.label != "Look as"])
    everything += json.dumps([link.proto.label for link in at.get("page_link")])
    assert ("Sanna" in everything) == (path in NAMING)
    assert "Sven" not in everything
    assert "Sven" not in charts(at)


def charts(at) -> str:
    """The data and titles of every chart on a page."""
    return "".join(str(element.proto) for element in at.get("vega_lite_chart"))


def test_a_link_to_a_student_outside_reach_is_refused_and_logged(visit, page_text, homes):
    at = visit("full", "student", "c01", student="s02")
    text = page_text(at)
    assert "no student s02 that you may see" in text
    last = json.loads(homes("full").access_log.read_text().splitlines()[-1])
    assert (last["viewer"], last["student"], last["outcome"]) == ("c01", "s02", "refused")


def test_opening_a_minors_page_is_logged_once_a_visit(visit, homes):
    log = homes("full").access_log
    before = log.read_text().count('"outcome": "opened"') if log.exists() else 0
    at = visit("full", "student", "c01", student="s01")
    at.run()
    assert log.read_text().count('"outcome": "opened"') == before + 1


def test_the_student_page_gives_the_trend_with_its_doubt(visit, page_text):
    at = visit("full", "student", "h01", student="s01", measure="impact_trail_heel_pct_bw")
    text = page_text(at)
    assert "▲ Improving. Very likely (99\u00a0%)" in text
    assert "Change −18\u00a0% of body weight, 90\u00a0% between −22" in text


def test_an_address_that_leaves_the_student_empty_shows_one(visit):
    at = visit("full", "student", "h01", student="")
    assert at.title[0].value == "Sanna Test"


def test_a_student_measured_once_reads_too_few_sessions(visit, page_text):
    assert "1\u00a0session. Too few sessions to speak of change." in page_text(
        visit("full", "student", "h01", student="s03")
    )
    assert "Too few sessions" in page_text(visit("full", "progress", "s03"))


def test_no_label_of_change_is_shown_where_the_season_tables_are_empty(visit, page_text):
    text = page_text(visit("one_session", "progress", "s01")) + page_text(
        visit("one_session", "student", "h01")
    )
    for label in ("Improving", "Slipping", "No large change", "Better", "Worse"):
        assert label not in text


def test_the_progress_page_shows_one_thing_the_drill_and_its_caution_and_no_private_note(
    visit, page_text, unfold
):
    at = visit("full", "progress", "g01")
    assert not at.get("vega_lite_chart")  # folded below
    assert "Back heel light at impact" in page_text(at)
    at = unfold(at)
    text = page_text(at)
    assert "In 8 of 10 swings lately, your back heel is light when you strike." in text
    assert "Earlier in the season it was 3 of 10." in text
    assert "Stop at any pain in the calf." in text
    assert "Keep the heel light." in text
    assert "Only for the staff" not in text
    assert "Sven" not in text
    assert len(at.get("vega_lite_chart")) <= 3


def test_no_raw_code_is_on_screen(visit, page_text):
    for path in (page for page in PAGES if page != "words"):  # its formulas are for whoever checks a figure
        at = visit("full", path, "h01")
        for code in (
            "trail_heel_down",
            "impact_trail_heel_pct_bw",
            "mid_back_trail_share_pct",
            "stays_centred",
            "head_coach",
        ):
            assert code not in page_text(at), (path, code)


def test_swings_left_out_are_counted_by_reason(visit, page_text):
    text = page_text(visit("full", "deliveries", "c02"))
    assert "samples were missing for a moment" in text
    assert "plate.csv line 12 of s02" in text
    assert "plate.csv line 12 of s01" not in text


def test_another_home_than_the_demo_says_how_to_get_in(visit, page_text):
    text = page_text(visit("real", "students", "h01"))
    assert "This browser is not signed in" in text
    assert "Sanna" not in text


def test_a_newly_published_snapshot_shows_at_the_next_rerun(visit, page_text, homes):
    at = visit("fresh", "progress", "s01")
    assert "Sanna Test" in page_text(at)
    with writer(homes("fresh")) as w:
        w.execute("UPDATE academy.person SET display_name = 'Sanna Neu' WHERE person = 's01'")
        w.publish()
    assert "Sanna Neu" in page_text(at.run())


def test_a_guardian_sees_nothing_once_the_ward_is_of_age(visit, page_text, homes):
    with writer(homes("grown")) as w:
        w.execute("UPDATE academy.person SET born = '2000-01-01' WHERE person = 's01'")
        w.publish()
    text = page_text(visit("grown", "progress", "g01"))
    assert "comes of age" in text
    assert "Sanna" not in text.replace("Gitta Test, guardian", "")


def test_a_missing_trace_is_explained_in_a_sentence_not_a_traceback(visit, page_text, homes):
    shutil.rmtree(homes("traceless").traces)
    at = visit("traceless", "student", "h01", student="s01")
    assert not at.exception
    assert "rebuild them from the filed deliveries" in page_text(at)
    assert "Sessions, drills and notes" in page_text(at)


@pytest.mark.parametrize("path", ["student", "session", "notes"])
def test_an_open_discomfort_is_said_on_every_page_that_a_lesson_is_worked_on(visit, homes, path):
    changed(homes, f"hurt-{path}", SORE)
    assert "left knee" in visit(f"hurt-{path}", path, "c01", student="s01").warning[0].value


def test_an_open_discomfort_comes_before_the_season_on_the_students_page(visit, homes):
    changed(homes, "hurt", SORE)
    at = visit("hurt", "student", "c01", student="s01")
    order = [type(child).__name__ for child in at.main.children.values()]
    assert order.index("Warning") < order.index("Header")


def test_feet_that_may_be_swapped_are_asked_about(visit, page_text, homes):
    with writer(homes("swapped")) as w:
        w.execute("UPDATE academy.swing SET flags = ['feet_swapped'] WHERE session = '2026-01-12-s01'")
        w.publish()
    text = page_text(visit("swapped", "deliveries", "c01"))
    assert "Were the feet swapped?" in text
    assert "feet_checked = true" in text
    assert "Were the feet swapped?" not in page_text(visit("swapped", "deliveries", "c02"))


def test_a_choice_in_the_address_opens_the_page_on_it(visit):
    at = visit("full", "students", "h01", on="trail_heel_down", coach="c02")
    chosen = {box.label: box.value for box in at.selectbox}
    assert chosen["Compare on"] == "trail_heel_down"
    assert chosen["Coach"] == "c02"
    assert "Sanna" not in charts(at)


def test_the_student_page_gives_the_style_with_the_swings_it_comes_from(visit, page_text, homes):
    with writer(homes("styled")) as w:
        w.execute("INSERT INTO season.style VALUES ('2026', 's01', 'iron', 'stays_forward', 34)")
        w.publish()
    text = page_text(visit("styled", "student", "h01", student="s01"))
    styled = "Through impact with irons: stays on the front foot through impact, from 34\u00a0swings"
    assert styled in text
