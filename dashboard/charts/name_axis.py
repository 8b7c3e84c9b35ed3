"""Names down the side of a picture, in full, a long one on several lines: many differ only at their ends."""

import textwrap

import altair as alt
import polars as pl

from dashboard.charts import look

PADDING = 10  # px between a name and the picture


def axis(*, padding: int = PADDING, grid: bool | None = None) -> alt.Axis:
    """The axis of names that `lines` or `broken` made: no line, no ticks, nothing cut off."""
    more = {} if grid is None else {"grid": grid}
    return alt.Axis(
        labelExpr=r"split(datum.label, '\n')", labelLimit=0, labelPadding=padding, domain=False, ticks=False,
        **more,
    )  # fmt: skip


def lines(name: str, letters: int) -> str:
    """A name on lines of at most that many letters."""
    return "\n".join(textwrap.wrap(name, letters))


def broken(names: pl.Series, letters: int) -> pl.Series:
    """Names, each on lines of at most that many letters, as column `row`."""
    return look.in_words(names, lambda name: lines(name, letters), "row")
