"""The lesson sheet on paper: one self-contained file, as the student's coach sees it."""

import re

import pytest

from dashboard.handouts import write_of_student
from dashboard.pages.lesson.content import sheet_of
from warehouse.errors import CallError
from warehouse.store import writer


def test_the_sheet_is_self_contained_and_written_into_the_homes_pages(homes):
    file = write_of_student(homes("full"), "lesson", sheet_of, "s01")
    assert file == homes("full").pages / "lesson-s01.html"
    text = file.read_text()
    assert "<script" not in text
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', text) == []
    for heading in (
        "Today&#39;s fault: trail heel still down at impact",
        "First drill: Heel-off strikes",
        "Last visit and practice",
        "What changed since last time",
        "Faults now",
        "Young player",
    ):
        assert f"<h2>{heading}</h2>" in text
    assert "Sven" not in text


def test_the_sheet_counts_the_swings_left_out_and_one_with_two_reasons_only_once(homes):
    with writer(homes("twice_out")) as w:
        # Swing 6 of each of the six sessions is unusable already; of one session swing 5 is swapped as well.
        w.execute("UPDATE academy.swing SET flags = ['dropout', 'feet_swapped'] WHERE swing_no = 6")
        w.execute(
            "UPDATE academy.swing SET flags = ['feet_swapped'] WHERE swing_no = 5 AND session = '2026-03-23-s01'"
        )
        w.publish()
    text = write_of_student(homes("twice_out"), "lesson", sheet_of, "s01").read_text()
    assert "Of 36\u00a0swings of this season, 7 stay out of its answers." in text
    assert "the two feet may be swapped (7)" in text


def test_a_sheet_is_about_a_student_of_the_roster(homes):
    with pytest.raises(CallError, match="only students can be named"):
        write_of_student(homes("full"), "lesson", sheet_of, "c01")


def test_opening_a_minors_sheet_on_paper_is_logged(homes, tmp_path):
    before = (
        homes("full").access_log.read_text().count("Lesson sheet on paper")
        if homes("full").access_log.exists()
        else 0
    )
    write_of_student(homes("full"), "lesson", sheet_of, "s01", tmp_path / "sheet.html")
    assert homes("full").access_log.read_text().count("Lesson sheet on paper") == before + 1
