"""What pages are made of. A part of a page, or a page, that has nothing to show raises one sentence instead.

`layout.part` shows that sentence in its place; outside every part, it stands for the rest of the page.
"""

import io
import json
from collections.abc import Sized
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import altair as alt
import polars as pl

from warehouse.errors import UnderfootError

Found = TypeVar("Found", bound=Sized)


class Specification:
    """A chart as Streamlit takes it, made once however often it is shown, and not checked against its schema.

    Making it takes longer than all else of a page that was kept, and checking it twice as long; the tests
    check each kind of picture.
    """

    def __init__(self, chart: alt.TopLevelMixin) -> None:
        self._chart = chart

    def to_dict(self) -> dict[str, Any]:
        """Vega-Lite, with the chart's rows by name, each as an Arrow stream."""
        text, datasets = self._made
        return {**json.loads(text), "datasets": dict(datasets)}

    @cached_property
    def _made(self) -> tuple[str, dict[str, bytes]]:
        found: dict[int, tuple[str, pl.DataFrame]] = {}

        def by_name(rows: pl.DataFrame) -> dict[str, str]:
            return {"name": found.setdefault(id(rows), (f"rows-{len(found)}", rows))[0]}

        alt.data_transformers.register("by_name", by_name)
        with alt.data_transformers.enable("by_name"):
            text = json.dumps(self._chart.to_dict(validate=False))
        return text, {name: _arrow(rows) for name, rows in found.values()}


def _arrow(rows: pl.DataFrame) -> bytes:
    data = io.BytesIO()
    rows.write_ipc_stream(data, compat_level=pl.CompatLevel.oldest())  # all that browsers read
    return data.getvalue()


@dataclass(frozen=True)
class Picture:
    """A chart, what it says, its rows, and how to read its marks.

    `pieces`: the picture in pieces, one below the other, where a browser would take long to draw it whole.
    """

    chart: alt.TopLevelMixin
    words: str
    rows: pl.DataFrame
    key: str = ""
    pieces: tuple[alt.TopLevelMixin, ...] = ()

    @cached_property
    def specifications(self) -> list[Specification]:
        """What is shown of it, one below the other."""
        return [Specification(chart) for chart in self.pieces or (self.chart,)]


@dataclass(frozen=True)
class Section:
    """A section of a page below its heading, in the order it is read; an empty sentence is not shown.

    `table`: rows shown where there is no picture, and what they are called when they are saved.
    """

    picture: Picture | None = None
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
