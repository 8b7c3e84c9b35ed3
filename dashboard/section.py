"""What pages are made of: under a heading, a picture or what is shown instead, and sentences."""

from dataclasses import dataclass

import altair as alt
import polars as pl

from dashboard.charts.picture import Picture


@dataclass(frozen=True)
class Section:
    """A section of a page below its heading, in the order it is read; an empty sentence is not shown.

    `pieces`: the picture in pieces, one below the other, where a browser would take long to draw it whole.
    `table`: rows shown where there is no picture, and what they are called when they are saved.
    """

    picture: Picture | None = None
    pieces: tuple[alt.TopLevelMixin, ...] = ()
    table: tuple[pl.DataFrame, str] | None = None
    boxes: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()  # small print
    sentences: tuple[str, ...] = ()
