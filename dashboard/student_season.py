"""One student's season with one family of clubs: what a page about one person asks its questions with."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import polars as pl

from dashboard.queries import people, season, sessions
from dashboard.queries.season import Band
from dashboard.text import sentences
from dashboard.text.catalogue import _
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import Measure
from warehouse.access import Reader
from warehouse.vocabulary import age


@dataclass(frozen=True)
class StudentSeason:
    """`person` is a row of `people.students`; season and family are empty before the first measured swing."""

    reader: Reader
    person: dict[str, Any]
    season: str = ""
    family: str = ""

    @property
    def student(self) -> str:
        """The student's code."""
        return str(self.person["student"])

    @property
    def clubs(self) -> str:
        """The family's name within a sentence: irons."""
        return FAMILIES.get(self.family, self.family).lower()

    @cached_property
    def measures(self) -> dict[str, Measure]:
        """Every metric in screen order, by its code."""
        return people.measures(self.reader)

    @cached_property
    def fault_names(self) -> dict[str, str]:
        """Every fault in swing order, by its code."""
        return people.faults(self.reader)

    @cached_property
    def style(self) -> tuple[str | None, int]:
        """The student's style by impact, once there are swings enough, and from how many."""
        return season.style(self.reader, self.student, self.family, self.season)

    @cached_property
    def bands(self) -> dict[str, Band]:
        """The bands that hold for this student, by metric."""
        return season.bands(self.reader, self.family, self.person, self.style[0])

    @cached_property
    def fault_rates(self) -> pl.DataFrame:
        """`season.fault_rates`: a row per fault and span."""
        return season.fault_rates(self.reader, self.student, self.family, self.season)

    def band(self, metric: str) -> Band:
        """A metric's band; (None, None) where none is set."""
        return self.bands.get(metric, (None, None))

    def name(self, aim: str) -> str:
        """What a fault or a metric is called on screen."""
        return self.measures[aim].label if aim in self.measures else self.fault_names.get(aim, aim)

    def means(self, metric: str) -> pl.DataFrame:
        """`season.session_means`: a row per session, oldest first."""
        return season.session_means(self.reader, metric, self.family, self.season, self.student)

    def trend(self, metric: str) -> dict[str, Any] | None:
        """The season's fit of a metric; None before there is one."""
        fit = season.trends(self.reader, metric, self.family, self.season, self.student)
        return fit.row(0, named=True) if len(fit) else None

    def age(self) -> int | None:
        """Full years today; None when the birth date is not known."""
        return age(self.person["born"], self.reader.today)

    def who(self) -> list[str]:
        """Level, hand, age of a player under age, and coach: the start of the line below a page's title."""
        years = self.age()
        hand = {"right": _("right-handed"), "left": _("left-handed")}.get(self.person["handed"])
        coach = self.person["coach_name"]
        parts = [
            self.person["level"],
            hand,
            _("{n} years old").format(n=years)
            if years is not None and self.reader.is_minor(self.student)
            else None,
            _("coached by {coach}").format(coach=coach) if coach else None,
        ]
        return [part for part in parts if part]

    def left_out(self) -> str | None:
        """How many of the season's swings stay out of its answers; None when there are none."""
        if not self.season:
            return None
        counts, flags = sessions.left_out(self.reader, self.student, self.season)
        return sentences.left_out(counts, flags.rows())


def measured_seasons(reader: Reader, student: str) -> list[str]:
    """Seasons with a measured swing of this student with a known club, newest first."""
    return [name for name in people.seasons(reader) if people.families(reader, name, student)]


def newest(reader: Reader, person: dict[str, Any]) -> StudentSeason:
    """The newest measured season, with the clubs most measured in it."""
    student = person["student"]
    name = next(iter(measured_seasons(reader, student)), "")
    family = people.families(reader, name, student)[0] if name else ""
    return StudentSeason(reader, person, name, family)
