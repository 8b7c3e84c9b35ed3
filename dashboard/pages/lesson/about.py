"""Whom a lesson sheet is about, and what one part of it holds."""

from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboard import body
from dashboard.queries import people, season
from dashboard.text.numbers import Measure
from warehouse.access import Reader

OFTEN = 0.1  # a fault in at least one swing of ten stands on the sheet


@dataclass(frozen=True)
class Part:
    """One part of the sheet: its heading, its sentences, and its rows where it has a table."""

    title: str
    sentences: tuple[str, ...] = ()
    rows: pl.DataFrame | None = None


@dataclass(frozen=True)
class About:
    """Whom the sheet is about, with which clubs, and the areas of the body that hurt.

    `when` and `family` are empty before the first swing measured in a season.
    """

    reader: Reader
    person: dict[str, Any]
    when: str
    family: str
    bands: dict[str, season.Band]
    measures: dict[str, Measure]
    areas: tuple[str | None, ...]

    @property
    def student(self) -> str:
        """The student's code."""
        return str(self.person["student"])

    def named(self, aim: str) -> str:
        """What a fault or a metric is called on screen."""
        return self.measures[aim].label if aim in self.measures else people.faults(self.reader).get(aim, aim)

    def loads(self, drill: dict[str, Any]) -> list[str]:
        """The areas that hurt and that this drill may load."""
        texts = [drill["name"], drill["how"], drill["cautions"]]
        return [area or "area not named" for area in self.areas if body.may_load(area, texts)]
