"""Roster files: people, who coached whom, drills, seasons, consents."""

import polars as pl
from pandera.polars import Field

from warehouse.contracts.base import NAME_PATTERN, Contract
from warehouse.vocabulary import HANDS, PURPOSES, ROLES


class PersonLine(Contract):
    """One row per person: student, coach, head coach or guardian. Key: person."""

    person: pl.String = Field(str_matches=NAME_PATTERN, description="text; the person's code")
    role: pl.String = Field(isin=ROLES, description="text; what they are in the academy")
    display_name: pl.String = Field(description="text; name on screen")
    born: pl.Date | None = Field(nullable=True, description="date; birth date")
    handed: pl.String | None = Field(nullable=True, isin=HANDS, description="text; the hand they play with")
    foot_length_mm: pl.Float64 | None = Field(
        nullable=True, ge=120, le=400, description="mm; heel to tip of the toes"
    )
    level: pl.String | None = Field(nullable=True, description="text; the academy's own level name")
    guardian_of: pl.String | None = Field(
        nullable=True, description="text; students a guardian answers for, parted by spaces"
    )
    joined: pl.Date = Field(description="date; first day")
    left: pl.Date | None = Field(nullable=True, description="date; last day")


class CoachingLine(Contract):
    """One row per student, coach and first day: who coached whom, when."""

    student: pl.String = Field(str_matches=NAME_PATTERN, description="text; a student of people.csv")
    coach: pl.String = Field(str_matches=NAME_PATTERN, description="text; a coach of people.csv")
    from_: pl.Date = Field(alias="from", description="date; first day")
    to: pl.Date | None = Field(nullable=True, description="date; last day")


class DrillLine(Contract):
    """One row per drill. Key: drill."""

    drill: pl.String = Field(str_matches=NAME_PATTERN, description="text; the drill's code")
    name: pl.String = Field(description="text; name on screen")
    aim: pl.String = Field(nullable=True, description="text; a fault code or a metric")
    how: pl.String = Field(nullable=True, description="text; how it is done")
    cautions: pl.String = Field(nullable=True, description="text; what to look out for")
    min_age: pl.Int32 | None = Field(nullable=True, ge=0, le=120, description="years; youngest age")


class SeasonLine(Contract):
    """One row per season of the academy. Key: season."""

    season: pl.String = Field(str_matches=NAME_PATTERN, description="text; the season's name")
    from_: pl.Date = Field(alias="from", description="date; first day")
    to: pl.Date = Field(description="date; last day")


class ConsentLine(Contract):
    """One row per student, purpose and first day of a consent."""

    student: pl.String = Field(str_matches=NAME_PATTERN, description="text; a student of people.csv")
    given_by: pl.String = Field(description="text; who gave it: the student or a guardian")
    purpose: pl.String = Field(isin=PURPOSES, description="text; what it covers")
    from_: pl.Date = Field(alias="from", description="date; first day it covers")
    to: pl.Date | None = Field(nullable=True, description="date; last day it covers")
