"""The progress page on paper: one file, no script, nothing fetched, one student."""

import re

import pytest

from bench.papers import progress_pages
from dashboard.handouts import write_of_student
from dashboard.pages.progress.content import page_of, progress_html
from warehouse.errors import AccessError, CallError
from warehouse.store import writer


def test_the_page_is_self_contained_without_script_or_anything_fetched(reader_of):
    text = progress_html(reader_of("full", "s01"), "s01")
    assert text.startswith("<!doctype html>")
    assert '<html lang="en">' in text
    assert "<script" not in text
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', text) == []
    assert re.findall(r"url\((?!#)[^)]*\)", text) == []
    assert "default-src 'none'" in text


def test_the_page_holds_at_most_three_pictures_each_named_in_words(reader_of):
    text = progress_html(reader_of("full", "s01"), "s01")
    assert 1 <= text.count("<figure>") <= 3
    assert text.count("<svg ") == text.count("<figure>") + 3  # the shoe, and the two of the drill
    assert text.count("<svg ") == text.count('role="img" aria-label="')
    assert len(text) < 150_000


def test_the_page_is_about_one_student_and_what_is_shared(reader_of):
    text = progress_html(reader_of("full", "s01"), "s01")
    assert "Sanna Test" in text
    assert "Sven" not in text
    assert "Only for the staff" not in text
    assert "Stop at any pain in the calf." in text
    assert "No consent to share this page by link" in text


def test_names_are_escaped(reader_of, homes):
    home = homes("marked")
    with writer(home) as w:
        w.execute("UPDATE academy.person SET display_name = '<b>&' WHERE person = 's02'")
        w.publish()
    text = progress_html(reader_of("marked", "s02"), "s02")
    assert "&lt;b&gt;&amp;" in text
    assert "<b>" not in text


def test_a_reader_cannot_write_the_page_of_a_student_outside_reach(reader_of):
    with pytest.raises(AccessError):
        progress_html(reader_of("full", "c01"), "s02")


def test_opening_a_minors_page_on_paper_is_logged_and_a_grown_students_is_not(homes, reader_of):
    for student, opened in (("s01", 1), ("s02", 0)):
        log = homes("full").access_log
        before = log.read_text().count("Progress page on paper") if log.exists() else 0
        progress_html(reader_of("full", "h01"), student)
        assert (log.read_text() if log.exists() else "").count("Progress page on paper") == before + opened


def test_the_command_writes_the_page_into_the_homes_folder(homes):
    file = write_of_student(homes("full"), "progress", page_of, "s01")
    assert file == homes("full").pages / "progress-s01.html"
    assert "Sanna Test" in file.read_text(encoding="utf-8")


@pytest.mark.parametrize("person", ["c01", "nobody"])
def test_only_a_student_of_the_roster_has_a_progress_page(homes, person):
    with pytest.raises(CallError):
        write_of_student(homes("full"), "progress", page_of, person)


def test_the_bench_makes_whole_pages_of_students_by_turns_and_draws_their_pictures_again(homes, tmp_path):
    row = progress_pages(tmp_path, pages=4, turns=2, home=homes("full"))
    assert row.what.startswith("(k) 4 progress pages as HTML")
    assert row.ratio > 1
