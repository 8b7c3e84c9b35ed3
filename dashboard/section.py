"""What pages are made of. A part of a page, or a page, that has nothing to show raises one sentence instead.

`layout.part` shows that sentence in its place; outside every part, it stands for the rest of the page.
"""

from collections.abc import Sized
from dataclasses import dataclass
from typing import TypeVar

import altair as alt
import polars as pl

from warehouse.errors import UnderfootError

Found = TypeVar("Found", bound=Sized)


@dataclass(frozen=True)
class Picture:
    """A chart, what it says, its rows, and how to read its marks."""

    chart: alt.TopLevelMixin
    words: str
    rows: pl.DataFrame
    key: str = ""


@dataclass(frozen=True)
class Section:
    """A section of a page below its heading, in the order it is read; an empty sentence is not shown.

    `pieces`: the picture in pieces, one below the other, where a browser would take long to draw it whole.
    `table`: rows shown where there is no picture, and what they are called when they are saved.
    """

    picture: Picture | None = None
    pieces: tuple[alt.TopLevelMixin, ...] = ()
    table: tuple[pl.DataFrame, str] | None = None
    sentences: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()  # small print


def nonempty(found: Found, otherwise: str) -> Found:
    """What was found.

    Raises
        UnderfootError: nothing was; it says `otherwise`.
    """
    if not len(found):
        raise UnderfootError(otherwise)
    return found
