"""The note form: what is tapped becomes the right lines, on disk before anything says that it is kept."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from changed_academies import ASKED, SORE, changed, falls
from dashboard.pages.notes import content as notes
from dashboard.pages.notes.lines import lines as note_lines
from dashboard.queries import people
from dashboard.text.numbers import on
from warehouse.errors import AccessError, CallError

NOW = datetime(2026, 3, 24, 12, tzinfo=UTC)
QUIET = {"grade": "2", "dose": "20", "unit": "reps", "pace": "half", "place": "home", "eyes": "closed", "announced": "0", "shared": True}  # fmt: skip


def lines(**form):
    found = note_lines(QUIET | form, author="c01", student="s01", now=NOW)
    return [{k: v for k, v in line.items() if k not in ("student", "author", "at")} for line in found]


def test_fault_drill_and_dose_become_two_lines():
    assert lines(fault="late_crossing", drill="d01") == [
        {"kind": "saw", "code": "late_crossing", "grade": 2, "shared": False},
        {"kind": "drill", "code": "d01", "place": "home", "shared": True, "value": 20.0, "unit": "reps", "pace": "half"},
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("form", "line"),
    [
        ({"text": "Slow first."}, {"kind": "plan", "text": "Slow first.", "shared": True}),
        ({"area": "knee", "side": "lead", "hurts": "Sore."}, {"kind": "discomfort", "code": "lead knee", "text": "Sore.", "shared": True}),
        ({"area": "knee", "side": "both"}, {"kind": "discomfort", "code": "knee", "shared": True}),
        ({"over": "lead knee"}, {"kind": "discomfort_over", "code": "lead knee", "shared": True}),
        ({"nudge_back": "lost", "nudge_away": "held", "nudge_forward": "held", "stood_by": "Wren"}, {"kind": "steadiness", "held": "forward away", "lost": "back", "unit": "eyes closed", "announced": False, "stood_by": "Wren", "shared": False}),
        ({"nudge_back": "held", "eyes": "open", "announced": "1"}, {"kind": "steadiness", "held": "back", "unit": "eyes open", "announced": True, "shared": False}),
        ({"fell": "0"}, {"kind": "falls", "grade": 0, "shared": False}),
        ({"fell": "1"}, {"kind": "falls", "grade": 1, "shared": False}),
        ({"sign": "hips_wind"}, {"kind": "saw", "code": "hips_wind", "grade": 2, "shared": False}),
        ({"felt_lead_heel_light": "1", "felt_drill": "d01"}, {"kind": "felt", "code": "lead_heel_light", "grade": 1, "drill": "d01", "shared": True}),
        ({"felt_lead_heel_light": "0", "felt_drill": "d01", "felt_session": "v1", "felt_swing": "3"}, {"kind": "felt", "code": "lead_heel_light", "grade": 0, "session": "v1", "swing_no": 3, "shared": True}),
        ({"practised": "d01", "minutes": "15"}, {"kind": "practice", "code": "d01", "value": 15.0, "unit": "minutes", "place": "home", "shared": True}),
        ({"metric": "m", "lo": "60", "hi": "70,5"}, {"kind": "target", "code": "m", "value": 60.0, "value_to": 70.5, "shared": False}),
    ],
)  # fmt: skip
def test_each_kind_of_note_becomes_its_line(form, line):
    assert lines(**form) == [line]


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({}, "Nothing is chosen"),
        ({"nudge_back": "held"}, "Who stood within reach"),
        ({"hurts": "Sore."}, "Where it hurts is not chosen"),
        ({"practised": "d01", "minutes": "many"}, "is not a number"),
        ({"practised": "d01", "minutes": "-5"}, "more than 0 minutes"),
        ({"metric": "m"}, "neither a start nor an end"),
        ({"metric": "m", "lo": "9", "hi": "3"}, "backwards"),
        ({"metric": "m", "lo": "nan"}, "is impossible"),
    ],
)
def test_an_impossible_form_is_refused_with_what_to_do(form, said):
    with pytest.raises(CallError, match=said):
        lines(**form)


def test_the_devices_time_is_taken_unless_it_is_impossible():
    def at(said):
        return note_lines({"text": "x", "at": said}, author="c01", student="s01", now=NOW)[0]["at"]

    assert at("2026-03-23T09:00:00.000Z") == "2026-03-23T09:00:00+00:00"
    for wrong in ("2026-03-25T09:00:00Z", "2025-01-01T00:00:00Z", "2026-03-23T09:00:00", "soon", None):
        assert at(wrong) == "2026-03-24T12:00:00+00:00"


def test_a_kept_note_is_whole_in_the_inbox(reader_of, homes):
    home = homes("noting")
    notes.keep(reader_of("noting", "c01"), "s01", QUIET | {"drill": "d01", "text": "Light heel."})
    (file,) = home.inbox.glob("*/notes.jsonl")
    assert [json.loads(text)["kind"] for text in file.read_text().splitlines()] == ["drill", "plan"]
    assert [line["kind"] for line in notes.waiting(home, "s01")] == ["drill", "plan"]
    assert notes.waiting(home, "s02") == []


def test_a_note_sent_twice_is_kept_once(reader_of, homes):
    form = QUIET | {"text": "Light heel.", "at": datetime.now(UTC).isoformat()}
    for _ in range(2):
        assert len(notes.keep(reader_of("twice", "c01"), "s01", form)) == 1
    assert len(notes.waiting(homes("twice"), "s01")) == 1


CLOSED = QUIET | {"nudge_back": "held", "stood_by": "Wren"}


def test_what_age_or_pain_rules_out_is_not_kept_and_the_form_says_why_and_what_is_safe(reader_of, homes):
    changed(homes, "ruled_out", SORE, "UPDATE academy.person SET born = '2015-01-01' WHERE person = 's03'")
    home, reader = homes("ruled_out"), reader_of("ruled_out", "c01")
    said = notes.outcome(reader, "s01", QUIET | {"drill": "d01"})["text"]
    assert said == (
        "Not saved. Heel-off strikes is ruled out today: may load left knee. A safe choice: Never set. A head coach may overrule this, and is named in the note."
    )
    said = notes.outcome(reader, "s03", CLOSED)["text"]
    assert "for ages 14 and over. A safe choice: the check with eyes open." in said
    assert notes.waiting(home, "s01") == notes.waiting(home, "s03") == []
    assert notes.outcome(reader, "s03", CLOSED | {"eyes": "open"})["kept"]


def test_a_sore_place_of_the_same_note_or_in_the_inbox_counts_at_once(reader_of):
    reader = reader_of("sore_now", "c01")
    assert "may load knee" in notes.outcome(reader, "s01", QUIET | {"drill": "d01", "area": "knee"})["text"]
    assert notes.outcome(reader, "s01", QUIET | {"area": "calf"})["kept"]
    assert "may load calf" in notes.outcome(reader, "s01", QUIET | {"drill": "d01"})["text"]
    assert notes.outcome(reader, "s01", QUIET | {"drill": "d01", "over": "calf"})["kept"]


def test_a_head_coach_overrules_by_name_and_a_coach_does_not(reader_of, homes):
    changed(homes, "overruled", SORE)
    form = QUIET | {"drill": "d01", "overrule": True, "text": "Heel only."}
    assert "ruled out" in notes.outcome(reader_of("overruled", "c01"), "s01", form)["text"]
    kept = notes.keep(reader_of("overruled", "h01"), "s01", form)
    assert [(line["kind"], line.get("overruled_by")) for line in kept] == [("drill", "h01"), ("plan", None)]


def test_eyes_closed_is_offered_only_where_age_and_pain_allow_it(reader_of, homes):
    young = "UPDATE academy.person SET born = '2015-01-01' WHERE person = 's03'"
    changed(homes, "offering", young, falls("s01"), falls("s02", fell=True))

    def offered(student, viewer="c01"):
        reader = reader_of("offering", viewer)
        form = notes.form_data(reader, people.student(reader, student), None)
        ways = form["may_close"], form["may_close_after_no"], form["defaults"]["eyes"]
        return *ways, form["cautions"]["not_closed"], form["cautions"]["falls"]

    assert offered("s01")[:4] == (True, True, "closed", "")
    again = f"Asked again from {on(ASKED + timedelta(days=365))}."
    assert offered("s01")[4] == f"No fall in the year before {on(ASKED)}. {again}"
    assert offered("s03")[:3] == (False, False, "open")
    assert "for ages 14 and over" in offered("s03")[3]
    assert offered("s03", "h01")[:3] == (True, True, "open")
    assert offered("s02", "h01")[2] == "open"
    assert "not within a year of a fall" in offered("s02", "c02")[3]
    assert offered("s02", "c02")[4].startswith(
        f"A fall in the year before {on(ASKED)}. Nothing with eyes closed"
    )


def test_falls_are_asked_before_eyes_are_closed_and_a_no_in_the_same_note_is_enough(reader_of, homes):
    changed(homes, "unasked", "UPDATE academy.person SET born = '1960-01-01' WHERE person = 's03'")
    reader = reader_of("unasked", "c01")
    form = notes.form_data(reader, people.student(reader, "s03"), None)
    assert (form["may_close"], form["may_close_after_no"], form["falls_due"]) == (False, True, True)
    assert "“Have you fallen in the past year?”" in form["cautions"]["falls"]
    said = notes.outcome(reader, "s03", CLOSED)["text"]
    assert "falls in the past year not asked about yet. A safe choice: the check with eyes open." in said
    assert "not within a year of a fall" in notes.outcome(reader, "s03", CLOSED | {"fell": "1"})["text"]
    assert notes.outcome(reader, "s03", CLOSED | {"fell": "0"})["kept"]
    assert notes.outcome(reader, "s03", CLOSED)["kept"]  # the answer waits in the inbox
    young = notes.form_data(reader, people.student(reader, "s01"), None)
    assert (young["falls_due"], young["may_close_after_no"]) == (False, True)


def test_a_coach_keeps_no_note_on_another_coachs_student(reader_of, homes):
    with pytest.raises(AccessError):
        notes.keep(reader_of("full", "c01"), "s02", QUIET | {"drill": "d01"})


def test_the_page_shows_what_hurts_and_what_waits(visit, page_text, homes, reader_of):
    notes.keep(reader_of("waiting", "c01"), "s01", QUIET | {"text": "Light heel."})
    text = page_text(visit("waiting", "notes", "c01", student="s01"))
    assert "1\u00a0line of notes on this student" in text


def test_what_hurts_is_closed_under_the_code_it_was_opened_with(reader_of, homes):
    changed(homes, "closing", SORE)
    reader = reader_of("closing", "c01")
    form = notes.form_data(reader, people.student(reader, "s01"), None)
    assert form["open"] == [("left_knee", "left knee")]
    assert form["drills"][0] == ("d01", "Heel-off strikes (may load left knee)")
    assert form["defaults"]["unit"] == "reps"
    assert form["defaults"]["dose"] == "20"
