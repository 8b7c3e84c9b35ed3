"""CSV files that are safe to open."""

import csv
import io

import polars as pl
import pytest

import hostile_texts
from dashboard.downloads import csv_text, file_name
from hostile_checks import is_calculated


def cells(frame):
    return list(csv.reader(io.StringIO(csv_text(frame), newline="")))


def read(text):
    """A cell of this text, as a spreadsheet reads it."""
    return cells(pl.DataFrame({"note": [text]}))[1][0]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_text_that_a_spreadsheet_would_run_is_led_by_an_apostrophe(text):
    assert read(text).startswith("'")
    assert read(text).replace("'", "") == text


@pytest.mark.parametrize(
    "text",
    [
        " =1+1",
        "\n=1+1",
        "\r\n +1",
        "\u00a0@SUM(A1)",
        "\u200b=1",
        "\ufeff=1",
        "\u3000=1",
        "＝1+1",
        "＋1",
        "－1",
        "＠SUM(A1)",
        " ＝1",
    ],
)
def test_blanks_and_wide_signs_hide_no_formula(text):
    assert read(text).startswith("'")
    assert read(text).replace("'", "") == text


@pytest.mark.parametrize("between", [";", "\t", "\n", "; "])
def test_a_formula_within_a_cell_is_none_for_a_spreadsheet_that_is_set_to_other_marks(between):
    assert read(f"a{between}=1+1") == f"a{between[0]}'{between[1:]}=1+1"


def test_a_column_name_that_a_spreadsheet_would_run_is_led_by_an_apostrophe():
    assert cells(pl.DataFrame({"=1": ["a"]}))[0] == ["'=1"]


@pytest.mark.parametrize("text", hostile_texts.TEXTS, ids=lambda text: text.name)
def test_a_hostile_text_stays_in_its_cell_and_is_never_a_formula(text):
    rows = cells(pl.DataFrame({"note": [text.text], "by": ["c1"]}))
    assert [len(row) for row in rows] == [2, 2]
    assert not is_calculated(rows[1][0])


def test_numbers_and_plain_words_stay_as_they_are():
    frame = pl.DataFrame({"change": [-1.5, None], "note": ["a - b; −2 %", "−2 points"]})
    assert cells(frame) == [["change", "note"], ["-1.5", "a - b; −2 %"], ["", "−2 points"]]


def test_lists_are_written_as_json():
    frame = pl.DataFrame({"no": [1, 2, 3], "flags": [["dropout"], [], None]})
    assert cells(frame)[1:] == [["1", '["dropout"]'], ["2", "[]"], ["3", ""]]


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Load left under the trail heel: 18 % → 2 %", "load-left-under-the-trail-heel-18-2.csv"),
        ("Jürgen Ångström’s season", "jurgen-angstroms-season.csv"),
        ("../../etc/passwd", "etc-passwd.csv"),
        ("▲", "underfoot.csv"),
    ],
)
def test_a_file_is_named_by_its_finding_in_letters_that_any_system_takes(title, name):
    assert file_name(title, "csv") == name


def test_a_files_name_stays_short_and_tells_two_titles_apart():
    names = {file_name("long " * 60 + end, "png") for end in ("one", "two")}
    assert len(names) == 2
    assert max(map(len, names)) <= 73
