"""Delivered files: samples, events, clip points, notes, shots and the files of the roster."""

from typing import Annotated

import polars as pl
from pandera.polars import Field

from warehouse.contracts.base import NAME_PATTERN, Contract
from warehouse.vocabulary import (
    CLOCKS,
    DEVICE_SIDES,
    EVENTS,
    HANDS,
    HEELS,
    NOTE_KINDS,
    PACES,
    PLACES,
    POINTS,
    PURPOSES,
    ROLES,
)

LOAD_LOW_N, LOAD_HIGH_N = -20.0, 6000.0
CLOCK_LIMIT_S = 1e11  # keeps an infinite time out; the clock's start is arbitrary
_LOAD = {"ge": LOAD_LOW_N, "le": LOAD_HIGH_N}
_MAYBE_NAMED = {"nullable": True, "str_matches": NAME_PATTERN}
_ACROSS = {"nullable": True, "ge": -1e7, "le": 1e7}


class PlateSample(Contract):
    """One row per sample of both feet: `plate*.csv`, `plate.parquet`, after names, hands and units are ours.

    Centres of pressure are checked by the reader, since they mean nothing while a foot carries under 5 % of
    body weight; so is a heel load, which may not exceed its foot's load by more than 20 N.
    """

    swing_no: pl.Int64 = Field(ge=0, le=1_000_000, description="–; a [[swing]] or [[hold]] of session.toml")
    t_s: pl.Float64 = Field(ge=-CLOCK_LIMIT_S, le=CLOCK_LIMIT_S, description="s; clock of the swing")
    lead_n: pl.Float64 = Field(**_LOAD, description="N; vertical load under the lead foot")
    trail_n: pl.Float64 = Field(**_LOAD, description="N; vertical load under the trail foot")
    lead_along_pct: pl.Float64 = Field(nullable=True, description="% of foot length; heel 0, toes 100")
    trail_along_pct: pl.Float64 = Field(nullable=True, description="% of foot length; heel 0, toes 100")
    lead_across_mm: pl.Float64 | None = Field(**_ACROSS, description="mm; toward the target")
    trail_across_mm: pl.Float64 | None = Field(**_ACROSS, description="mm; toward the target")
    lead_heel_n: pl.Float64 | None = Field(**_LOAD, nullable=True, description="N; rear third of the foot")
    trail_heel_n: pl.Float64 | None = Field(**_LOAD, nullable=True, description="N; rear third of the foot")
    cop_x_mm: pl.Float64 | None = Field(**_ACROSS, description="mm; whole body, toward the target")
    cop_y_mm: pl.Float64 | None = Field(**_ACROSS, description="mm; whole body, toward the toes")


class EventLine(Contract):
    """One row per swing, event and clock: `events.csv`."""

    swing_no: pl.Int64 = Field(ge=0, description="–; a [[swing]] of session.toml")
    event: pl.String = Field(isin=EVENTS, description="text; name of the event")
    t_s: pl.Float64 = Field(ge=-CLOCK_LIMIT_S, le=CLOCK_LIMIT_S, description="s; on that clock")
    clock: pl.String | None = Field(nullable=True, isin=CLOCKS, description="text; plate when empty")
    lead_heel: pl.String | None = Field(nullable=True, isin=HEELS, description="text; seen on the film then")
    trail_heel: pl.String | None = Field(nullable=True, isin=HEELS, description="text; seen on the film then")


class ClipLine(Contract):
    """One row per swing, video frame and marked point: `clip.csv`."""

    swing_no: pl.Int64 = Field(ge=0, description="–; a [[swing]] of session.toml")
    frame: pl.Int64 = Field(ge=0, le=10_000_000, description="–; counts from 0 in each swing's clip")
    point: pl.String = Field(isin=POINTS, description="text; heel or toe of a foot")
    x_px: pl.Float64 = Field(nullable=True, ge=-1e6, le=1e6, description="px; to the right")
    y_px: pl.Float64 = Field(nullable=True, ge=-1e6, le=1e6, description="px; down")
    score: pl.Float64 | None = Field(nullable=True, ge=0, le=1, description="–; how sure the mark is")


class NoteLine(Contract):
    """One row per line of a coach's notes: `notes.csv`, `notes.jsonl`."""

    session: pl.String | None = Field(**_MAYBE_NAMED, description="text; the session")
    student: pl.String | None = Field(**_MAYBE_NAMED, description="text; the student")
    at: Annotated[pl.Datetime, "us", None] = Field(
        description="ISO time; UTC once read; without an offset, the academy's own time"
    )
    author: pl.String = Field(str_matches=NAME_PATTERN, description="text; who wrote it")
    kind: pl.String = Field(isin=NOTE_KINDS, description="text; what sort of line it is")
    swing_no: pl.Int64 | None = Field(nullable=True, ge=0, description="–; the swing it is about")
    code: pl.String | None = Field(nullable=True, description="text; fault, drill, metric, direction or area")
    grade: pl.Int64 | None = Field(nullable=True, ge=0, le=3, description="–; how strong")
    value: pl.Float64 | None = Field(nullable=True, ge=-1e6, le=1e6, description="–; reps, minutes, low end")
    value_to: pl.Float64 | None = Field(nullable=True, ge=-1e6, le=1e6, description="–; high end")
    unit: pl.String | None = Field(nullable=True, description="text; reps, minutes, open, closed")
    pace: pl.String | None = Field(nullable=True, isin=PACES, description="text; pace of the practice")
    place: pl.String | None = Field(nullable=True, isin=PLACES, description="text; where it was done")
    text: pl.String | None = Field(nullable=True, description="text; in the coach's own words")
    shared: pl.Boolean | None = Field(nullable=True, description="–; may the student see it")
    drawn_against: pl.String | None = Field(
        nullable=True, description="text; drill that a random draw passed over for code (plan or drill)"
    )
    held: pl.String | None = Field(
        nullable=True, description="text; nudge directions held, separated by spaces"
    )
    lost: pl.String | None = Field(
        nullable=True, description="text; nudge directions in which balance was lost"
    )
    announced: pl.Boolean | None = Field(nullable=True, description="–; the nudge was announced beforehand")
    stood_by: pl.String | None = Field(nullable=True, description="text; who stood within reach")
    drill: pl.String | None = Field(nullable=True, description="text; the drill whose swings were felt")
    overruled_by: pl.String | None = Field(
        nullable=True, description="text; head coach who answers for what age or pain rules out"
    )
    kindred: pl.String | None = Field(
        nullable=True, description="text; further metrics of an agreed aim, separated by spaces"
    )
    due: pl.Date | None = Field(nullable=True, description="date; by when an agreed aim is to be reached")


class ShotLine(Contract):
    """One row per swing with a ball result: `shots.csv`. Side is positive away from the golfer."""

    session: pl.String | None = Field(**_MAYBE_NAMED, description="text; the session")
    swing_no: pl.Int64 = Field(ge=0, description="–; the swing")
    carry_m: pl.Float64 = Field(nullable=True, ge=0, le=400, description="m; carry")
    side_m: pl.Float64 = Field(nullable=True, ge=-200, le=200, description="m; away from the golfer")
    club_speed_m_s: pl.Float64 | None = Field(nullable=True, ge=0, le=90, description="m/s; club speed")
    ball_speed_m_s: pl.Float64 | None = Field(nullable=True, ge=0, le=130, description="m/s; ball speed")


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
        nullable=True, description="text; students a guardian answers for, separated by spaces"
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


class DeviceCheckLine(Contract):
    """One row per device, half of it and time a known weight stood on it: `device_checks.csv`."""

    device: pl.String = Field(str_matches=NAME_PATTERN, description="text; a device of academy.toml")
    side: pl.String | None = Field(
        nullable=True,
        isin=DEVICE_SIDES,
        description="text; the half that the weight stood on; whole when empty",
    )
    at: Annotated[pl.Datetime, "us", None] = Field(
        description="ISO time; UTC once read; without an offset, the academy's own time"
    )
    known_kg: pl.Float64 = Field(ge=1, le=500, description="kg; what the weight is known to be")
    reading_kg: pl.Float64 = Field(ge=0, le=1000, description="kg; what the device read")
    recalibrated: pl.Boolean | None = Field(
        nullable=True, description="–; the device was zeroed or calibrated just before this check"
    )
