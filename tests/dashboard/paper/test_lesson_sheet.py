"""The lesson sheet on paper: one self-contained file, as the student's coach sees it."""

import re

import pytest

from dashboard.paper.lesson_sheet import write_sheet
from warehouse.errors import CallError


def test_the_sheet_is_self_contained_and_written_into_the_homes_pages(homes):
    file = write_sheet(homes("full"), "s01")
    assert file == homes("full").pages / "lesson-s01.html"
    text = file.read_text()
    assert "<script" not in text
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', text) == []
    for heading in ("Works on", "Set for home", "What changed since last time", "Faults now", "Young player"):
        assert f"<h2>{heading}</h2>" in text
    assert "Sven" not in text


def test_a_sheet_is_about_a_student_of_the_roster(homes):
    with pytest.raises(CallError, match="not a student"):
        write_sheet(homes("full"), "c01")


def test_opening_a_minors_sheet_on_paper_is_logged(homes, tmp_path):
    before = (
        homes("full").access_log.read_text().count("Lesson sheet on paper")
        if homes("full").access_log.exists()
        else 0
    )
    write_sheet(homes("full"), "s01", tmp_path / "sheet.html")
    assert homes("full").access_log.read_text().count("Lesson sheet on paper") == before + 1
