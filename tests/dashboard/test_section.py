"""What is shown of a picture holds its rows, and is made once."""

import io

import altair as alt
import polars as pl
import pytest

from dashboard.section import Picture

ROWS = pl.DataFrame({"day": ["a", "b"], "share_pct": [61.5, None]})


@pytest.fixture
def picture():
    base = alt.Chart(ROWS).encode(x="day:N", y="share_pct:Q")
    other = alt.Chart(pl.DataFrame({"at": [50.0]})).mark_rule().encode(y="at:Q")
    return Picture(alt.layer(base.mark_line(), base.mark_point(), other), "words", ROWS)


def test_a_picture_is_shown_with_the_rows_that_its_layers_name(picture):
    (shown,) = picture.specifications
    spec = shown.to_dict()
    found = {name: pl.read_ipc_stream(io.BytesIO(data)) for name, data in spec["datasets"].items()}
    names = [layer.get("data", spec.get("data"))["name"] for layer in spec["layer"]]
    assert names[0] == names[1] != names[2]
    assert found[names[0]].equals(ROWS)
    assert found[names[2]]["at"].to_list() == [50.0]


def test_a_picture_shown_again_is_the_same_and_nobody_who_was_shown_it_can_change_it(picture, monkeypatch):
    first = picture.specifications[0].to_dict()
    first["layer"].clear()
    first["datasets"].clear()
    monkeypatch.setattr(type(picture.chart), "to_dict", lambda *_, **__: pytest.fail("made a second time"))
    again = picture.specifications[0].to_dict()
    assert len(again["layer"]) == 3
    assert len(again["datasets"]) == 2
