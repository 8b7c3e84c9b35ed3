"""Names down the side of a picture."""

import polars as pl

from dashboard.charts import look


def test_a_long_name_stands_on_lines_none_of_which_is_longer_than_asked_and_loses_no_word():
    name = "Lead share when the lead arm is parallel coming down"
    shown = look.on_lines(name, 20)
    assert max(len(line) for line in shown.split("\n")) <= 20
    assert shown.replace("\n", " ") == name


def test_a_column_of_names_is_broken_row_by_row_and_the_axis_splits_them_again():
    names = pl.Series("name", ["Top", "Load left under the trail heel", None])
    rows = look.broken(names, 16)
    assert rows.name == "row"
    assert rows.to_list() == ["Top", "Load left under\nthe trail heel", None]
    axis = look.name_axis(grid=True).to_dict()
    assert axis["labelExpr"] == r"split(datum.label, '\n')"
    assert axis["labelLimit"] == 0
    assert axis["grid"] is True
