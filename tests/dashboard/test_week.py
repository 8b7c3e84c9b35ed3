"""The weekly review: what is in which part, for whom, and a tick that is saved before it is shown."""

import json
from datetime import UTC, date, datetime

import pytest

from command import underfoot_command
from dashboard import inbox
from dashboard.pages.week.content import (
    PARTS,
    SPARSE,
    TALK,
    WELL,
    review,
    review_html,
    tick_off,
    write_review,
)
from warehouse.errors import AccessError, CallError
from warehouse.store import writer


def part(review, code):
    """The entries of one part."""
    return next(part.entries for part in review.parts() if part.code == code)


def test_discomfort_comes_first_a_students_entries_together_and_what_goes_well_apart(reader_of):
    found = review(reader_of("full", "h01"))
    assert [(entry.student, entry.kind) for entry in part(found, TALK)] == [
        ("s01", "discomfort"),
        ("s01", "new_fault"),
        ("s01", "eye_and_plate"),
        ("s02", "slipping"),
    ]
    assert [entry.kind for entry in part(found, WELL)] == ["improving"]
    assert [entry.kind for entry in part(found, SPARSE)] == ["unmeasured", "refused"]


def test_a_coach_reviews_their_own_students_and_deliveries_only(reader_of):
    found = review(reader_of("full", "c02"))
    assert {entry.student for entry in found.entries} == {"s02", None}
    assert "Sanna" not in review_html(reader_of("full", "c02"), found)


def test_chance_is_said_with_the_number_it_would_produce(reader_of):
    found = review(reader_of("full", "h01"))
    assert "2\u00a0changes over the season stood out; chance alone would produce about 0.0." in found.chance
    assert "Up to 1 in 10 of them may be chance." in found.chance


def test_kindred_measures_that_the_sentence_only_counts_are_named_in_words(reader_of):
    entry = part(review(reader_of("full", "h01")), TALK)[-1]
    assert entry.kindred == "Further: Trail share when the lead arm is parallel going back."
    assert entry.doubt == "97\u00a0% sure"
    assert entry.clubs == "Irons"


def test_there_is_no_review_before_the_first_build(reader_of, visit, page_text):
    assert review(reader_of("empty", "h01")) is None
    assert "No week has been reviewed yet" in page_text(visit("empty", "week", "h01"))


def test_the_page_names_each_signal_its_doubt_and_the_caution_for_what_hurts(visit, page_text):
    at = visit("full", "week", "h01")
    text = page_text(at)
    assert "To talk about (4, of 2\u00a0students)" in text
    assert "Discomfort, still open: left knee, noted on 16 March 2026." in text
    assert "This page does not diagnose" in text
    assert "A real change for the worse, 97\u00a0% sure to be large enough to matter." in text
    assert "Delivery 2026-02-03-s02 was refused" in text


def test_the_evidence_is_drawn_only_when_it_is_asked_for(visit):
    at = visit("full", "week", "h01")
    assert len(at.get("vega_lite_chart")) == 0
    toggle = next(t for t in at.toggle if t.key == "picture-slipping:s02:impact_trail_heel_pct_bw")
    toggle.set_value(True).run()
    assert not at.exception
    assert len(at.get("vega_lite_chart")) == 1
    next(t for t in at.toggle if t.key == "picture-new_fault:s01:trail_heel_down").set_value(True).run()
    assert not at.exception
    assert len(at.get("vega_lite_chart")) == 2
    next(t for t in at.toggle if t.key == "picture-eye_and_plate:s01:trail_heel_down").set_value(True).run()
    assert not at.exception
    assert len(at.get("vega_lite_chart")) == 3


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
    assert [line for line in said if line in PARTS.values()] == list(PARTS.values())


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
    assert text.count("☐") == len(whole.entries) - 1
    assert "For the staff only." in text


def test_another_coachs_paper_has_a_file_of_its_own(homes):
    file, whole = write_review(homes("full"), "c01")
    assert file.name == f"review-{whole.week}-c01.html"
    assert "Sven" not in file.read_text(encoding="utf-8")


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
