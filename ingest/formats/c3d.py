"""A C3D recording with two force platforms, read into the columns of plate.csv."""

import warnings
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.formats.c3d_feet import C3dSetup, Stance, foot_frame, read_stance
from ingest.formats.c3d_file import C3dFile, Platform, first_of, foot_markers, open_c3d
from ingest.formats.c3d_platforms import read_platforms
from ingest.formats.explanation import Explanation
from ingest.formats.format import SampleFormat, SessionContext
from ingest.plate_rows import SampleFile
from ingest.refusals import refuse

Array = NDArray[np.float64]

EVENT_NAMES = {
    "address": ("address", "setup"),
    "takeaway": ("takeaway", "startofbackswing"),
    "mid_back": ("midback", "midbackswing"),
    "top": ("top", "topofbackswing", "topofswing"),
    "mid_down": ("middown", "middownswing"),
    "impact": ("impact", "ballimpact", "ballcontact"),
    "finish": ("finish", "endofswing"),
}
SAME_EVENT_S = 0.001
OFF_PLATFORM_MM = 50.0
LEAST_SHARE = 0.025  # of the usual total load: under it a foot's centre of pressure is left null


@dataclass(frozen=True)
class Recording:
    """One C3D recording as plate rows.

    samples: t_s, lead_n, trail_n, lead_along_pct, lead_across_mm, trail_along_pct, trail_across_mm, cop_x_mm,
    cop_y_mm; null where a foot carries under 10 N or 2.5 % of the usual total load. events: our event names,
    on the clock of t_s. stance_mm: lead heel x, y, lead toe x, y, trail heel x, y, trail toe x, y.
    """

    samples: pl.DataFrame
    events: dict[str, float]
    body_mass_kg: float | None
    stance_mm: list[float] | None
    rate_hz: float


class C3d(SampleFormat):
    """A C3D recording of one swing on two force platforms."""

    title = "A C3D recording of force platforms, one swing"
    names = ("*.c3d",)
    orphans = ("plate*.c3d",)
    in_memory = False
    one_swing = True

    def read(self, name: str, swing_no: int | None, context: SessionContext) -> SampleFile:
        """Read one swing's recording."""
        platform = context.device.raw.get("lead_platform") if context.device is not None else None
        header, person, hand = context.header, context.person, context.hand(name)
        lead = platform if isinstance(platform, int) else None
        setup = C3dSetup(hand, header.stance_mm, person.foot_length_mm, lead)
        found = read_c3d(context.base / name, setup)
        mass = found.body_mass_kg
        return replace(
            SampleFile.of(name, found.samples.with_columns(swing_no=pl.lit(swing_no))),
            events={} if swing_no is None else {swing_no: found.events},
            stance_mm=tuple(found.stance_mm) if found.stance_mm else None,
            body_mass_kg=mass if mass is not None and 15 <= mass <= 250 else None,
        )

    def explain(self, path: Path, device: str) -> Explanation:
        """Platforms, foot markers and events of a recording."""
        recording = open_c3d(path)
        found = Explanation(path.name, self.title)
        seconds = recording.analogs.shape[1] / recording.analog_rate_hz if recording.analog_rate_hz else 0.0
        found.facts["length"] = f"{seconds:.2f} s from {recording.first_s:.2f} s on its clock"
        found.facts["rate"] = f"{recording.analog_rate_hz:g} Hz, markers {recording.point_rate_hz:g} Hz"
        if recording.body_mass_kg:
            found.facts["body mass"] = f"{recording.body_mass_kg:.1f} kg"
        for platform in read_platforms(recording):
            middle = ", ".join(f"{v:.0f}" for v in platform.centre_mm)
            load = f"load {np.nanmin(platform.load_n):.0f} to {np.nanmax(platform.load_n):.0f} N"
            found.facts[f"platform {platform.number}"] = f"middle at {middle} mm, {load}"
        markers = [f"{side} {part}" for side, part in sorted(foot_markers(recording))]
        found.facts["foot markers"] = ", ".join(markers) or "none: [stance] in session.toml gives the feet"
        events = read_events(recording)
        listed = ", ".join(f"{name} {at:.3f} s" for name, at in events.items())
        found.facts["events"] = listed or "none with a name of ours"
        note = "# the platform under the lead foot, when it is not found by the markers or [stance]"
        found.table = f'[device.{device}]\nkind = "force_plates"\nlead_platform = 1  {note}\n'
        return found


def read_c3d(path: Path, setup: C3dSetup) -> Recording:
    """Read a recording of one swing on two force platforms.

    Along is 0 at the back of the heel and 100 at the tip of the toes, across is positive toward the target,
    and the whole-body centre of pressure is the load-weighted mean of both feet's, x toward the target and y
    toward the toes, about the recording's origin. t_s runs on the file's clock, on which its first frame need
    not be 0.

    Raises
        Refused: not a C3D file, damaged or cut short, fewer than two platforms, one of them idle, no foot
            axis, or geometry that contradicts itself.
    """
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # means of damaged, all-NaN samples
            return _read(path, setup)
    except (ValueError, IndexError, KeyError, TypeError, OverflowError, np.linalg.LinAlgError) as error:
        what = "the parameters of the C3D file contradict one another"
        todo = "export the recording again and deliver it whole"
        raise refuse("unreadable", what, todo, file=path.name) from error


def _read(path: Path, setup: C3dSetup) -> Recording:
    recording = open_c3d(path)
    events = read_events(recording)
    stance = read_stance(recording, read_platforms(recording), setup, events.get("address"))
    for platform in (stance.lead, stance.trail):
        _refuse_off_platform(recording.file, platform)
    return Recording(
        samples=_samples(recording, stance),
        events=events,
        body_mass_kg=recording.body_mass_kg,
        stance_mm=[float(value) for value in stance.feet_mm.ravel()],
        rate_hz=recording.analog_rate_hz,
    )


def read_events(recording: C3dFile) -> dict[str, float]:
    """Our events among the file's labels, by name, in seconds on the file's clock.

    EVENT:TIMES holds minutes and seconds on the clock on which frame 1 is at 0.

    Raises
        Refused: one of our events is there twice, at two times.
    """
    labels = recording.texts.get("EVENT.LABELS", [])
    times = recording.numbers.get("EVENT.TIMES", np.zeros((2, 0)))
    times = times.reshape(2, -1, order="F")
    used = min(len(labels), times.shape[1], int(first_of(recording.numbers, "EVENT.USED") or 0))
    events: dict[str, float] = {}
    for label, (minutes, seconds) in zip(labels[:used], times.T[:used], strict=True):
        plain = "".join(letter for letter in label.lower() if letter.isalpha())
        event = next((name for name, labels in EVENT_NAMES.items() if plain in labels), None)
        at = float(60.0 * minutes + seconds)
        if event is None or not np.isfinite(at):
            continue
        if abs(events.setdefault(event, at) - at) > SAME_EVENT_S:
            what = f'the event "{event}" appears twice, at {events[event]:.3f} s and at {at:.3f} s'
            raise refuse("event_twice", what, "keep one of them in the recording", file=recording.file)
    return events


def _refuse_off_platform(file: str, platform: Platform) -> None:
    """Refuse corners, origin or units under which the usual load would be off the platform."""
    if len(platform.seen):
        local = (np.median(platform.seen, axis=0) - platform.centre_mm) @ platform.axes
        half = np.abs((platform.corners_mm - platform.centre_mm) @ platform.axes).max(axis=0)
        if (np.abs(local[:2]) <= half[:2] + OFF_PLATFORM_MM).all():
            return
    what = f"the load of platform {platform.number} would be outside its corners"
    todo = "correct its corners, origin or units in the recording program and export again"
    raise refuse("cop_off_platform", what, todo, file=file)


def _samples(recording: C3dFile, stance: Stance) -> pl.DataFrame:
    """The columns of plate.csv, one row an analog sample."""
    weight = float(np.nanmedian(stance.lead.load_n + stance.trail.load_n))
    columns: dict[str, Array] = {
        "t_s": recording.first_s + np.arange(stance.lead.load_n.size) / recording.analog_rate_hz,
        "lead_n": stance.lead.load_n,
        "trail_n": stance.trail.load_n,
    }
    moments = np.zeros((stance.lead.load_n.size, 2))
    loads = np.zeros(stance.lead.load_n.size)
    feet = {"lead": (stance.lead, 0, 1), "trail": (stance.trail, 2, 3)}
    for foot, (platform, heel, toe) in feet.items():
        points = stance.on_floor(platform.cop_mm)
        points[~(platform.load_n >= LEAST_SHARE * weight)] = np.nan
        along, across = foot_frame(points, stance.feet_mm[heel], stance.feet_mm[toe])
        columns |= {f"{foot}_along_pct": along, f"{foot}_across_mm": across}
        seen = np.isfinite(points).all(axis=1)
        moments[seen] += points[seen] * platform.load_n[seen, None]
        loads[seen] += platform.load_n[seen]
    body = np.where(loads[:, None] > 0, moments / loads[:, None], np.nan)
    columns["cop_x_mm"], columns["cop_y_mm"] = body[:, 0], body[:, 1]
    return pl.DataFrame(columns).with_columns(pl.col(pl.Float64).fill_nan(None))
