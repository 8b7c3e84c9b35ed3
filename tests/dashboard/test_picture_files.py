"""Pictures as files: the chart of a page, drawn without a browser."""

import re
from datetime import date

import altair as alt
import polars as pl
import pytest

from dashboard import picture_files
from dashboard.charts import look, small_multiples
from dashboard.charts.small_multiples import Comparison
from dashboard.text.numbers import Measure

ROWS = pl.DataFrame({"x": [1.0, 2.0], "y": [3.0, 5.0]})


@pytest.fixture
def chart():
    points = alt.Chart(ROWS).mark_point().encode(x="x:Q", y="y:Q")
    return points.properties(autosize=look.FIT, height=90, title=look.title("It rose, and then it rose " * 4))


def test_an_svg_has_the_width_asked_for_and_neither_script_nor_anything_fetched(chart):
    text = picture_files.svg(chart, 500)
    assert text.startswith("<svg ")
    assert 'width="500"' in text
    assert "<script" not in text
    assert "href=" not in text


def test_a_png_is_a_png_with_two_dots_a_px(chart):
    data = picture_files.png(chart, 300)
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20], "big") == 600


def test_small_multiples_keep_their_own_width():
    values = pl.DataFrame(
        {"student": ["A", "B"], "label": [None, "improving"], "day": [date(2026, 1, 5)] * 2,
         "mean": [60.0, 61.0], "lo": [58.0, 59.0], "hi": [62.0, 63.0], "n": [8, 8]}
    )  # fmt: skip
    share = Measure("m", "Trail share", "%", "", "band", 0)
    drawn = small_multiples.picture(Comparison(values, share), "Two students")
    narrow = small_multiples.picture(Comparison(values, share), "Two students", narrow=True)
    wide_px, narrow_px = (
        float(re.search(r'<svg [^>]*width="([\d.]+)"', picture_files.svg(c))[1]) for c in (drawn, narrow)
    )
    assert wide_px > 2 * small_multiples.WIDTH
    assert narrow_px < wide_px


def test_the_finding_of_a_picture_is_its_title_in_one_line(chart):
    assert picture_files.finding(chart) == "It rose, and then it rose " * 3 + "It rose, and then it rose"
    assert picture_files.finding(alt.Chart(ROWS).mark_point()) == ""
