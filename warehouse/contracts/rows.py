"""Rows of the warehouse that ingest appends, checked before they land."""

from typing import Annotated

import polars as pl
from pandera.polars import Field

from warehouse.contracts.base import NAME_PATTERN, Contract
from warehouse.vocabulary import (
    CLOCKS,
    CLUB_FAMILIES,
    DIRECTIONS,
    DOSE_UNITS,
    EVENTS,
    EYES,
    FEET,
    NOTE_KINDS,
    PACES,
    PARTS,
    PLACES,
    POINTS,
    VIEWS,
)

_NAME = {"str_matches": NAME_PATTERN}


class SessionRow(Contract):
    """One row per session: `academy.session`."""

    session: pl.String = Field(**_NAME, description="text; key")
    student: pl.String = Field(**_NAME, description="text; whose visit it was")
    coach: pl.String = Field(**_NAME, nullable=True, description="text; who coached")
    started_at: Annotated[pl.Datetime, "us", None] = Field(description="UTC; start")
    day: pl.Date = Field(description="date; in the academy's time zone")
    season: pl.String = Field(nullable=True, description="text; empty outside every season")
    device: pl.String = Field(nullable=True, description="text; empty when nothing stood on plates")
    delivery: pl.String = Field(description="text; content hash")
    club: pl.String = Field(nullable=True, description="text; usual club of the session")
    body_mass_kg: pl.Float64 = Field(nullable=True, ge=15, le=250, description="kg; given in session.toml")
    stance_mm: Annotated[pl.List, pl.Float64] = Field(nullable=True, description="mm; heel and toe points")
    has_plate: pl.Boolean = Field(description="–; samples were delivered")
    has_clip: pl.Boolean = Field(description="–; clip points were delivered")
    clip_fps: pl.Float64 = Field(nullable=True, ge=1, le=2000, description="1/s; video frames")
    shoe_length_mm: pl.Float64 = Field(nullable=True, ge=120, le=450, description="mm; scale of the clip")
    clip_view: pl.String = Field(nullable=True, isin=VIEWS, description="text; where the camera stood")
    clip_mm_per_px: pl.Float64 = Field(
        nullable=True, ge=0.05, le=20, description="px; shows so many mm, as stated"
    )
    shoe_width_mm: pl.Float64 = Field(nullable=True, ge=50, le=160, description="mm; widest, at the ball")
    feet_checked: pl.Boolean = Field(
        description="–; the coach looked whether the feet are the right way round"
    )
    reduced: pl.Boolean = Field(description="–; false until the models have been over it")


class SwingRow(Contract):
    """One row per accepted swing of a session: `academy.swing`."""

    session: pl.String = Field(**_NAME, description="text; key, with swing_no")
    swing_no: pl.Int32 = Field(ge=0, description="–; key, with session")
    club: pl.String = Field(nullable=True, description="text; club")
    club_family: pl.String = Field(nullable=True, isin=CLUB_FAMILIES, description="text; family of the club")
    part: pl.String = Field(isin=PARTS, description="text; part of the lesson")
    pace: pl.String = Field(isin=PACES, description="text; pace of the swing")
    drill: pl.String = Field(nullable=True, description="text; the drill that came before")
    device: pl.String = Field(nullable=True, description="text; device")
    rate_hz: pl.Float64 = Field(nullable=True, ge=49.9, le=2001, description="Hz; sampling rate")
    n_samples: pl.Int32 = Field(ge=0, description="–; samples")
    t0_s: pl.Float64 = Field(nullable=True, description="s; time of the first sample")
    usable: pl.Boolean = Field(description="–; at least one metric could be computed")
    flags: Annotated[pl.List, pl.String] = Field(description="text; quality flags")
    flag_counts: Annotated[pl.List, pl.Int32] = Field(description="–; one count for each flag")
    file_flags: Annotated[pl.List, pl.String] = Field(description="text; flags found while reading")
    file_flag_counts: Annotated[pl.List, pl.Int32] = Field(description="–; one count for each")
    heel_source: pl.String = Field(isin=("measured", "estimated", "none"), description="text; of heel loads")
    clip_shoe_width_px: pl.Float64 = Field(
        nullable=True, gt=0, description="px; shoes at address, from the front"
    )
    clip_offset_s: pl.Float64 = Field(nullable=True, description="s; plate time less clip time")


class SwingEventRow(Contract):
    """One row per swing, event and clock: `academy.swing_event`."""

    session: pl.String = Field(**_NAME, description="text; session")
    swing_no: pl.Int32 = Field(ge=0, description="–; swing")
    event: pl.String = Field(isin=EVENTS, description="text; event")
    t_s: pl.Float64 = Field(description="s; on the clock named")
    source: pl.String = Field(isin=("marked", "clip", "estimated"), description="text; where it is from")
    expected_error_s: pl.Float64 = Field(ge=0, description="s; expected error")
    clock: pl.String = Field(isin=CLOCKS, description="text; plate or clip")


class HoldRow(Contract):
    """One row per steadiness hold: `academy.hold`, before its measures are computed."""

    session: pl.String = Field(**_NAME, description="text; session")
    swing_no: pl.Int32 = Field(ge=0, description="–; number of the hold")
    eyes: pl.String = Field(isin=EYES, description="text; open or closed")
    seconds: pl.Float64 = Field(ge=0, description="s; length of the hold")
    from_s: pl.Float64 = Field(description="s; its start on the plate clock")
    to_s: pl.Float64 = Field(description="s; its end on the plate clock")
    rate_hz: pl.Float64 = Field(ge=49.9, le=2001, description="Hz; sampling rate")
    n_samples: pl.Int32 = Field(ge=1, description="–; samples")
    t0_s: pl.Float64 = Field(description="s; time of the first sample")
    rocking: pl.Boolean = Field(description="–; rocked to and fro, then stood still")


class ClipPointRow(Contract):
    """One row per swing, video frame and marked point: `academy.clip_point`."""

    session: pl.String = Field(**_NAME, description="text; session")
    swing_no: pl.Int32 = Field(ge=0, description="–; swing")
    frame: pl.Int32 = Field(ge=0, description="–; counts from 0 in each swing's clip")
    point: pl.String = Field(isin=POINTS, description="text; heel or toe of a foot")
    x_px: pl.Float64 = Field(nullable=True, description="px; to the right")
    y_px: pl.Float64 = Field(nullable=True, description="px; down")
    score: pl.Float64 = Field(nullable=True, ge=0, le=1, description="–; how sure the mark is")


class HeelSeenRow(Contract):
    """One row per swing, event and foot whose heel was looked at on a film: `academy.heel_seen`."""

    session: pl.String = Field(**_NAME, description="text; session")
    swing_no: pl.Int32 = Field(ge=0, description="–; swing")
    event: pl.String = Field(isin=EVENTS, description="text; event")
    t_s: pl.Float64 = Field(description="s; on the clip clock")
    foot: pl.String = Field(isin=FEET, description="text; lead or trail")
    up: pl.Boolean = Field(description="–; off the ground")


class NoteRow(Contract):
    """One row per line of a coach's notes: `academy.note`."""

    note: pl.String = Field(description="text; hash of its content")
    session: pl.String = Field(nullable=True, description="text; session")
    student: pl.String = Field(**_NAME, description="text; student")
    at: Annotated[pl.Datetime, "us", None] = Field(description="UTC; when")
    day: pl.Date = Field(description="date; in the academy's time zone")
    author: pl.String = Field(**_NAME, description="text; who wrote it")
    kind: pl.String = Field(isin=NOTE_KINDS, description="text; kind of line")
    swing_no: pl.Int32 = Field(nullable=True, ge=0, description="–; swing")
    code: pl.String = Field(nullable=True, description="text; code")
    grade: pl.Int32 = Field(nullable=True, ge=0, le=3, description="–; grade")
    value: pl.Float64 = Field(nullable=True, description="–; value")
    value_to: pl.Float64 = Field(nullable=True, description="–; high end")
    unit: pl.String = Field(nullable=True, description="text; unit")
    pace: pl.String = Field(nullable=True, isin=PACES, description="text; pace")
    place: pl.String = Field(nullable=True, isin=PLACES, description="text; place")
    drawn_against: pl.String = Field(nullable=True, description="text; drill that lost when lots were drawn")
    held: pl.String = Field(nullable=True, description="text; nudge directions held, parted by spaces")
    lost: pl.String = Field(nullable=True, description="text; nudge directions in which balance was lost")
    announced: pl.Boolean = Field(nullable=True, description="–; the nudge was announced beforehand")
    stood_by: pl.String = Field(nullable=True, description="text; who stood within reach")
    drill: pl.String = Field(nullable=True, description="text; the drill whose swings were felt")
    overruled_by: pl.String = Field(
        nullable=True, description="text; head coach who answers for what age or pain rules out"
    )
    text: pl.String = Field(nullable=True, description="text; words")
    shared: pl.Boolean = Field(description="–; may the student see it")
    delivery: pl.String = Field(description="text; content hash")
    loose: pl.Boolean = Field(description="–; came outside the session's folder")


class DoseRow(Contract):
    """One row per time a drill was set or practised: `academy.drill_dose`."""

    note: pl.String = Field(description="text; the note it comes from")
    student: pl.String = Field(**_NAME, description="text; student")
    session: pl.String = Field(nullable=True, description="text; session")
    drill: pl.String = Field(description="text; drill")
    at: Annotated[pl.Datetime, "us", None] = Field(description="UTC; when")
    day: pl.Date = Field(description="date; in the academy's time zone")
    kind: pl.String = Field(isin=("drill", "practice"), description="text; set or practised")
    place: pl.String = Field(isin=PLACES, description="text; where")
    dose: pl.Float64 = Field(nullable=True, gt=0, description="–; how much")
    unit: pl.String = Field(isin=DOSE_UNITS, description="text; reps or minutes")
    pace: pl.String = Field(nullable=True, isin=PACES, description="text; pace")
    drawn_against: pl.String = Field(nullable=True, description="text; drill that lost when lots were drawn")


class SteadinessRow(Contract):
    """One row per direction of a nudge check: `academy.steadiness`."""

    note: pl.String = Field(description="text; the note it comes from")
    student: pl.String = Field(**_NAME, description="text; student")
    session: pl.String = Field(nullable=True, description="text; session")
    at: Annotated[pl.Datetime, "us", None] = Field(description="UTC; when")
    day: pl.Date = Field(description="date; in the academy's time zone")
    author: pl.String = Field(**_NAME, description="text; who nudged")
    direction: pl.String = Field(isin=DIRECTIONS, description="text; direction of the nudge")
    lost: pl.Boolean = Field(description="–; balance was lost")
    eyes: pl.String = Field(isin=EYES, description="text; open or closed")
    announced: pl.Boolean = Field(nullable=True, description="–; announced beforehand; null: not said")
    stood_by: pl.String = Field(nullable=True, description="text; who stood within reach; null: not said")


class ShotRow(Contract):
    """One row per swing with a ball result: `academy.shot`."""

    session: pl.String = Field(**_NAME, description="text; session")
    swing_no: pl.Int32 = Field(ge=0, description="–; swing")
    carry_m: pl.Float64 = Field(nullable=True, ge=0, le=400, description="m; carry")
    side_m: pl.Float64 = Field(nullable=True, ge=-200, le=200, description="m; away from the golfer")
    club_speed_m_s: pl.Float64 | None = Field(nullable=True, ge=0, description="m/s; club speed")
    ball_speed_m_s: pl.Float64 | None = Field(nullable=True, ge=0, description="m/s; ball speed")
    delivery: pl.String = Field(description="text; content hash")
    loose: pl.Boolean = Field(description="–; came outside the session's folder")


ROWS: dict[str, type[Contract]] = {
    "academy.session": SessionRow,
    "academy.swing": SwingRow,
    "academy.swing_event": SwingEventRow,
    "academy.hold": HoldRow,
    "academy.clip_point": ClipPointRow,
    "academy.heel_seen": HeelSeenRow,
    "academy.note": NoteRow,
    "academy.drill_dose": DoseRow,
    "academy.steadiness": SteadinessRow,
    "academy.shot": ShotRow,
}
"""Contract of each table that a session or a loose file fills."""
