"""CSV files that are safe to open."""

import csv
import io

import polars as pl
import pytest

from dashboard.downloads import csv_text, file_name


def cells(frame):
    return list(csv.reader(io.StringIO(csv_text(frame))))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_text_that_a_spreadsheet_would_run_is_led_by_an_apostrophe(text):
    assert cells(pl.DataFrame({"note": [text]}))[1] == ["'" + text]


def test_a_column_name_that_a_spreadsheet_would_run_is_led_by_an_apostrophe():
    assert cells(pl.DataFrame({"=1": ["a"]}))[0] == ["'=1"]


def test_numbers_and_plain_words_stay_as_they_are():
    frame = pl.DataFrame({"change": [-1.5, None], "note": ["a - b", None]})
    assert cells(frame) == [["change", "note"], ["-1.5", "a - b"], ["", ""]]


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


def test_a_files_name_stays_short():
    assert len(file_name("long " * 60, "png")) <= 64
