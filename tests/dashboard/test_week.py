"""The weekly review: what is in which part, for whom, and a tick that is saved before it is shown."""

import json
from datetime import UTC, date, datetime

import pytest

from command import underfoot_command
from dashboard import inbox
from dashboard.pages.week.content import (
    HURT,
    PARTS,
    SPARSE,
    TALK,
    WATCH,
    WELL,
    people_first,
    review,
    tick_off,
)
from dashboard.pages.week.last_visits import last_visits
from dashboard.pages.week.paper import review_html, write_review
from warehouse.errors import AccessError, CallError
from warehouse.store import writer


def part(review, code):
    """The entries of one part."""
    return next((part.entries for part in review.parts() if part.code == code), ())


def test_discomfort_comes_first_a_students_entries_together_and_what_goes_well_apart(reader_of):
    found = review(reader_of("full", "h01"))
    assert [(entry.student, entry.kind) for entry in part(found, HURT)] == [("s01", "discomfort")]
    assert [(entry.student, entry.kind) for entry in part(found, TALK)] == [
        ("s02", "slipping"),
        ("s01", "new_fault"),
        ("s01", "eye_and_plate"),
    ]
    assert [entry.kind for entry in part(found, WELL)] == ["improving"]
    assert [entry.kind for entry in part(found, SPARSE)] == ["unmeasured", "refused"]


def test_a_coach_reviews_their_own_students_and_deliveries_only(reader_of):
    found = review(reader_of("full", "c02"))
    assert {entry.student for entry in found.entries} == {"s02", None}
    assert "Sanna" not in review_html(reader_of("full", "c02"), found)


def test_chance_is_said_with_the_number_it_would_produce(reader_of):
    found = review(reader_of("full", "h01"))
    assert "3\u00a0changes and new faults stood out so far this season, 1 of them" in found.chance
    assert "expect about 0.1 false alarms among them." in found.chance
    assert "1 wrong in 20 over the whole season, however often you look;" in found.chance


def test_kindred_measures_that_the_sentence_only_counts_are_named_in_words(reader_of):
    entry = part(review(reader_of("full", "h01")), TALK)[0]
    assert entry.kindred == "Further: Trail share when the lead arm is parallel going back."
    assert entry.doubt == "97\u00a0% sure"
    assert entry.clubs == "Irons"


def test_there_is_no_review_before_the_first_build(reader_of, visit, page_text):
    assert review(reader_of("empty", "h01")) is None
    assert "No week has been reviewed yet" in page_text(visit("empty", "week", "h01"))


def test_the_page_names_each_signal_its_doubt_and_the_caution_for_what_hurts(visit, page_text):
    at = visit("full", "week", "h01")
    text = page_text(at)
    assert "Pain and safety" in text
    assert "See these first" in text
    assert "To talk about (1)" in text
    assert "Discomfort, still open: left knee, noted on 16 March 2026." in text
    assert "This page does not diagnose" in text
    assert "Worse: 97\u00a0% sure that it matters." in text
    assert "Delivery 2026-02-03-s02 was refused" in text


def test_those_to_talk_to_first_are_people_each_with_their_first_reason(reader_of):
    found = people_first(review(reader_of("full", "h01")).entries)
    assert [(entry.student, entry.kind) for entry in found] == [("s02", "slipping"), ("s01", "new_fault")]


def test_whoever_slips_inside_their_target_is_only_watched(homes, reader_of, page_text, visit):
    with writer(homes("on_target")) as w:
        w.execute("UPDATE academy.band SET hi = 22 WHERE metric = 'impact_trail_heel_pct_bw'")
        w.publish()
    found = review(reader_of("on_target", "h01"))
    assert [entry.student for entry in part(found, WATCH)] == ["s02"]
    assert "s02" not in {entry.student for entry in (*part(found, TALK), *people_first(found.entries))}
    assert "Nothing to do yet: each is still inside its target." in page_text(
        visit("on_target", "week", "h01")
    )


def test_each_line_about_something_measured_has_a_small_picture_that_says_its_values(reader_of):
    reader = reader_of("full", "h01")
    drawn = {entry.kind: last_visits(reader, entry) for entry in review(reader).entries}
    assert {kind for kind, found in drawn.items() if found} == {
        "new_fault", "eye_and_plate", "slipping", "improving",
    }  # fmt: skip
    svg, words = drawn["slipping"]
    assert svg.count("<circle") == 6
    assert words.startswith("Load left under the trail heel at impact over the last 6\u00a0visits: 18")


def test_who_has_not_been_measured_for_longest_comes_first(homes, reader_of):
    with writer(homes("waiting")) as w:
        w.execute(
            "INSERT INTO season.signal (week, as_of, rank, signal, kind, student, kindred) "
            "VALUES ('2026-03-16', '2026-03-16', 99, 'unmeasured:s01:x', 'unmeasured', 's01', [])"
        )
        w.execute(
            "INSERT INTO season.signal_evidence (week, signal, place, role, subject, day, days) "
            "VALUES ('2026-03-16', 'unmeasured:s01:x', 1, 'main', 'sessions', '2026-01-02', 73)"
        )
        w.publish()
    said = review(reader_of("waiting", "h01")).longest
    assert said.startswith("Not measured for longest: Sanna Test (since 2 January 2026)")


def ticks(at):
    return {box.key.removeprefix("talked-"): box for box in at.checkbox}


def test_a_tick_is_in_the_inbox_before_it_is_shown_as_saved(visit, homes, page_text):
    home = homes("ticking")
    at = visit("ticking", "week", "c01")
    ticks(at)["discomfort:s01:left_knee"].check().run()
    assert not at.exception
    (folder,) = home.inbox.iterdir()
    line = json.loads((folder / "notes.jsonl").read_text())
    assert {k: line[k] for k in ("student", "author", "kind", "code", "shared")} == {
        "student": "s01", "author": "c01", "kind": "talked", "code": "discomfort:s01:left_knee", "shared": False,
    }  # fmt: skip
    assert datetime.fromisoformat(line["at"]).tzinfo is not None
    assert "☑ Talked about by Caro Lindt on" in page_text(at)
    assert "discomfort:s01:left_knee" not in ticks(at)
    assert "improving:s01:impact_trail_heel_pct_bw" in ticks(at)


def test_a_tick_that_cannot_be_written_says_so_and_stays_open(visit, homes, page_text, monkeypatch):
    def full(*_):
        raise OSError("no space left")

    at = visit("full-disk", "week", "c01")
    monkeypatch.setattr(inbox, "put", full)
    ticks(at)["discomfort:s01:left_knee"].check().run()
    text = page_text(at)
    assert "Not saved. no space left" in text
    assert "☑" not in text
    assert ticks(at)["discomfort:s01:left_knee"].value is False


@pytest.fixture
def loaded(homes):
    """A home whose tick has been loaded as a note."""
    home = homes("loaded")
    with writer(home) as w:
        w.execute("DELETE FROM academy.note WHERE kind = 'talked'")
        w.execute(
            'INSERT INTO academy.note (note, student, "at", day, author, kind, code, shared, delivery, loose) '
            "VALUES ('t', 's01', '2026-03-24', '2026-03-24', 'c01', 'talked', 'discomfort:s01:left_knee', false, 'x', true), "
            "('u', 's02', '2026-03-01', '2026-03-01', 'c02', 'talked', 'slipping:s02:impact_trail_heel_pct_bw', false, 'x', true)"
        )
        w.publish()
    return home


def test_a_loaded_tick_says_who_and_when_and_an_older_one_does_not_count(loaded, reader_of, visit, page_text):
    found = {entry.signal: entry for entry in review(reader_of("loaded", "h01")).entries}
    hurting = found["discomfort:s01:left_knee"]
    assert (hurting.ticked, hurting.talked) == (True, "Talked about by Caro Lindt on 24 March 2026.")
    assert found["slipping:s02:impact_trail_heel_pct_bw"].ticked is False
    text = page_text(visit("loaded", "week", "h01"))
    assert "☑ Talked about by Caro Lindt on 24 March 2026." in text
    assert "Talked about by Cato Brandt on 1 March 2026. It has come up again since." in text


def test_only_what_is_not_talked_about_yet_can_be_shown(loaded, visit, page_text):
    text = page_text(visit("loaded", "week", "h01", show="open"))
    assert "still open: left knee" not in text
    assert "18 → 21\u00a0% of body weight" in text


def test_the_terminal_ticks_and_cautions_too(loaded, reader_of):
    said = review(reader_of("loaded", "h01")).lines()
    (hurting,) = [line for line in said if "Hurting" in line]
    assert hurting.strip().startswith(
        "[x] Sanna Test (Caro Lindt) · Hurting: Discomfort, still open: left knee"
    )
    assert "does not diagnose" in hurting
    assert [line for line in said if line in PARTS.values()] == [
        PARTS[code] for code in (HURT, TALK, WELL, SPARSE)
    ]


def test_the_paper_is_one_escaped_file_without_script(loaded, homes):
    with writer(loaded) as w:
        w.execute("UPDATE academy.person SET display_name = '<b>&' WHERE person = 's02'")
        w.publish()
    file, whole = write_review(loaded, None)
    assert file == loaded.pages / f"review-{whole.week}.html"
    text = file.read_text(encoding="utf-8")
    assert "&lt;b&gt;&amp;" in text
    assert "<script" not in text
    assert text.count("☑") == 1
    assert text.count("☐") == 6  # pain is ticked: two first, two names, one not measured, one delivery
    assert "For the staff only." in text


def test_another_coachs_paper_has_a_file_of_its_own(homes):
    file, whole = write_review(homes("full"), "c01")
    assert file.name == f"review-{whole.week}-c01.html"
    assert "Sven" not in file.read_text(encoding="utf-8")


def test_a_head_coach_who_has_left_is_not_asked_for_the_paper(homes):
    home = homes("left")
    with writer(home) as w:
        w.execute(
            'INSERT INTO academy.person (person, role, display_name, joined, "left") '
            "VALUES ('h00', 'head_coach', 'Aaron Gone', '2020-01-01', '2025-01-01')"
        )
        w.publish()
    file, whole = write_review(home, None)
    assert file.name == f"review-{whole.week}.html"


@pytest.mark.parametrize("person", ["s01", "g01", "nobody"])
def test_there_is_no_review_for_anyone_outside_the_staff(homes, person):
    with pytest.raises(CallError):
        write_review(homes("full"), person)


def test_the_review_as_rows_holds_words_only(reader_of):
    rows = review(reader_of("full", "h01")).rows()
    assert rows.columns[:3] == ["Part", "Student", "Coach"]
    assert "impact_trail_heel_pct_bw" not in rows.write_csv()


def test_the_line_of_a_tick_carries_its_moment_and_never_its_words(reader_of):
    at = datetime(2026, 3, 24, 9, 30, tzinfo=UTC)
    folder = tick_off(reader_of("ticked", "c01"), "s01", "slipping:s01:x", at)
    line = json.loads((folder / "notes.jsonl").read_bytes())
    assert line["at"] == "2026-03-24T09:30:00+00:00"
    assert datetime.fromisoformat(line["at"]).date() == date(2026, 3, 24)
    assert "text" not in line


def test_a_coach_ticks_nothing_off_about_another_coachs_student(reader_of):
    with pytest.raises(AccessError, match="no student s02 that you may see"):
        tick_off(reader_of("ticked", "c01"), "s02", "slipping:s02:x")
    with pytest.raises(AccessError, match="Only the academy's coaches"):
        tick_off(reader_of("ticked", "s01"), "s01", "slipping:s01:x")


def test_the_command_prints_the_review_and_says_where_the_paper_is(homes):
    home = homes("full")
    ran = underfoot_command("review", "--home", home.path, "--as", "c01")
    assert ran.returncode == 0
    assert ran.stdout.startswith("Week of 16 March 2026")
    assert "Sanna Test (Caro Lindt) · Hurting" in ran.stdout
    assert "Sven" not in ran.stdout
    assert f"To print: {home.pages / 'review-2026-03-16-c01.html'}" in ran.stdout


def test_the_command_says_what_to_do_before_the_first_build(homes):
    ran = underfoot_command("review", "--home", homes("empty").path)
    assert ran.returncode == 0
    assert "run: underfoot build" in ran.stdout
