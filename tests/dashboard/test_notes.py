"""The note form: what is tapped becomes the right lines, on disk before anything says that it is kept."""

import json
from datetime import UTC, datetime

import pytest

from dashboard.pages.notes import content as notes
from dashboard.queries import people
from warehouse.errors import AccessError, CallError
from warehouse.store import writer

NOW = datetime(2026, 3, 24, 12, tzinfo=UTC)
QUIET = {"grade": "2", "dose": "20", "unit": "reps", "pace": "half", "place": "home", "lost": "0", "eyes": "open", "shared": True}  # fmt: skip


def lines(**form):
    found = notes.lines(QUIET | form, author="c01", student="s01", now=NOW)
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
        ({"nudge": "back", "lost": "1", "eyes": "closed"}, {"kind": "steadiness", "code": "back", "grade": 1, "unit": "eyes closed", "shared": False}),
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
        return notes.lines({"text": "x", "at": said}, author="c01", student="s01", now=NOW)[0]["at"]

    assert at("2026-03-23T09:00:00.000Z") == "2026-03-23T09:00:00+00:00"
    for wrong in ("2026-03-25T09:00:00Z", "2025-01-01T00:00:00Z", "2026-03-23T09:00:00", "soon", None):
        assert at(wrong) == "2026-03-24T12:00:00+00:00"


def test_a_kept_note_is_whole_in_the_inbox(reader_of, homes):
    home = homes("noting")
    notes.keep(home, reader_of("noting", "c01"), "s01", QUIET | {"drill": "d01", "text": "Light heel."})
    (file,) = home.inbox.glob("*/notes.jsonl")
    assert [json.loads(text)["kind"] for text in file.read_text().splitlines()] == ["drill", "plan"]
    assert [line["kind"] for line in notes.waiting(home, "s01")] == ["drill", "plan"]
    assert notes.waiting(home, "s02") == []


def test_a_note_sent_twice_is_kept_once(reader_of, homes):
    form = QUIET | {"text": "Light heel.", "at": datetime.now(UTC).isoformat()}
    for _ in range(2):
        assert len(notes.keep(homes("twice"), reader_of("twice", "c01"), "s01", form)) == 1
    assert len(notes.waiting(homes("twice"), "s01")) == 1


def test_a_coach_keeps_no_note_on_another_coachs_student(reader_of, homes):
    with pytest.raises(AccessError):
        notes.keep(homes("full"), reader_of("full", "c01"), "s02", QUIET | {"drill": "d01"})


def test_the_page_shows_what_hurts_and_what_waits(visit, page_text, homes, reader_of):
    notes.keep(homes("waiting"), reader_of("waiting", "c01"), "s01", QUIET | {"text": "Light heel."})
    text = page_text(visit("waiting", "notes", "c01", student="s01"))
    assert "1\u00a0line of notes on this student" in text


def test_what_hurts_is_closed_under_the_code_it_was_opened_with(reader_of, homes):
    with writer(homes("closing")) as w:
        w.execute(
            'INSERT INTO academy.note (note, student, "at", day, author, kind, code, text, shared, delivery, loose) '
            "VALUES ('d', 's01', '2026-03-02', '2026-03-02', 'c01', 'discomfort', 'left_knee', 'Sore.', false, 'x', true)"
        )
        w.publish()
    reader = reader_of("closing", "c01")
    form = notes.form_data(reader, people.student(reader, "s01"), None)
    assert form["open"] == [("left_knee", "left knee")]
    assert form["drills"][0] == ("d01", "Heel-off strikes (may load left knee)")
    assert form["defaults"]["unit"] == "reps"
    assert form["defaults"]["dose"] == "20"
