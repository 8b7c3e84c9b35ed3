"""A picture: a chart with its words."""

from dataclasses import dataclass

import altair as alt
import polars as pl


@dataclass(frozen=True)
class Picture:
    """A chart, what it says, its rows, and how to read its marks."""

    chart: alt.TopLevelMixin
    words: str
    rows: pl.DataFrame
    key: str = ""
