"""A C3D recording with two force platforms, read into the columns of plate.csv.

Of one that runs on over many swings, each swing is read by itself, as the feet may have moved meanwhile.
"""

import warnings
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from ingest.formats.c3d_feet import C3dSetup, Stance, foot_frame, read_stance
from ingest.formats.c3d_file import C3dFile, Platform, first_of, foot_markers, open_c3d
from ingest.formats.c3d_platforms import read_platforms
from ingest.formats.explanation import Explanation, Knowing
from ingest.formats.format import SampleFormat, SessionContext
from ingest.plate_rows import Array, SampleFile
from ingest.recording.swings import cut_up
from ingest.refusals import refuse
from ingest.session_file import HoldEntry
from warehouse.errors import Refused

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
    stance_mm: list[float]


class C3d(SampleFormat):
    """A C3D recording on two force platforms, of one swing or of many in a row."""

    title = "A C3D recording of force platforms"
    names = ("*.c3d",)
    orphans = ("plate*.c3d",)
    in_memory = False
    one_swing = True

    def read(self, name: str, swing_no: int | None, context: SessionContext) -> SampleFile:
        """Read the recording of one swing; without its number, the swings in it."""
        platform = context.device.raw.get("lead_platform") if context.device is not None else None
        header, person, hand = context.header, context.person, context.hand(name)
        lead = platform if isinstance(platform, int) else None
        setup = C3dSetup(hand, header.stance_mm, person.foot_length_mm, lead)
        recording = open_c3d(context.base / name)
        if swing_no is None:
            found, stances = _swings(recording, setup, header.holds.values(), header.session)
        else:
            one = read_recording(recording, setup, one_swing=True)
            found = SampleFile.of(name, one.samples.with_columns(swing_no=pl.lit(swing_no)))
            found, stances = replace(found, events={swing_no: one.events}), [one.stance_mm]
        mass = recording.body_mass_kg
        return replace(
            found,
            stance_mm=tuple(np.median(stances, axis=0).tolist()),
            body_mass_kg=mass if mass is not None and 15 <= mass <= 250 else None,
        )

    def explain(self, path: Path, knowing: Knowing) -> Explanation:
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
        listed = ", ".join(f"{name} {at:.3f} s" for name, at in labelled_events(recording))
        found.facts["events"] = listed or "none with a name of ours"
        note = "# the platform under the lead foot, when it is not found by the markers or [stance]"
        found.table = f'[device.{knowing.device}]\nkind = "force_plates"\nlead_platform = 1  {note}\n'
        return found


def read_recording(recording: C3dFile, setup: C3dSetup, *, one_swing: bool) -> Recording:
    """Read a recording on two force platforms; one of `one_swing` may label each event only once.

    Along is 0 at the back of the heel and 100 at the tip of the toes, across is positive toward the target,
    and the whole-body centre of pressure is the load-weighted mean of both feet's, x toward the target and y
    toward the toes, about the recording's origin. t_s runs on the file's clock, on which its first frame need
    not be 0.

    Raises
        Refused: fewer than two platforms, one of them idle, no foot axis, or geometry that contradicts
            itself.
    """
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # means of damaged, all-NaN samples
            events = _of_one_swing(recording.file, labelled_events(recording)) if one_swing else {}
            return _read(recording, setup, events)
    except (ValueError, IndexError, KeyError, TypeError, OverflowError, np.linalg.LinAlgError) as error:
        what = "the parameters of the C3D file contradict one another"
        todo = "export the recording again and deliver it whole"
        raise refuse("unreadable", what, todo, file=recording.file) from error


def _read(recording: C3dFile, setup: C3dSetup, events: dict[str, float]) -> Recording:
    stance = read_stance(recording, read_platforms(recording), setup, events.get("address"))
    for platform in (stance.lead, stance.trail):
        _refuse_off_platform(recording.file, platform)
    return Recording(
        samples=_samples(recording, stance),
        events=events,
        body_mass_kg=recording.body_mass_kg,
        stance_mm=[float(value) for value in stance.feet_mm.ravel()],
    )


def _swings(
    recording: C3dFile, setup: C3dSetup, holds: Iterable[HoldEntry], session: str
) -> tuple[SampleFile, list[list[float]]]:
    """The swings and holds in a continuous recording, and where the feet stood in each swing.

    A swing by which the feet can't be told keeps what all of the recording says of them.
    """
    whole = read_recording(recording, setup, one_swing=False)
    cut = cut_up(SampleFile.of(recording.file, whole.samples), holds, session=session)
    columns = {name: values.copy() for name, values in cut.columns.items()}
    events, stances, labels = {}, [], labelled_events(recording)
    for no, swing in cut.found.items():
        inside = [(event, at) for event, at in labels if swing.from_s <= at <= swing.to_s]
        events[no] = _of_one_swing(recording.file, inside)
        try:
            own = read_recording(recording.part(swing.from_s, swing.to_s), setup, one_swing=False)
        except Refused:
            continue
        stances.append(own.stance_mm)
        rows = np.flatnonzero(columns["swing_no"] == no)
        first = float(own.samples["t_s"][0])
        place = np.rint((columns["t_s"][rows] - first) * recording.analog_rate_hz).astype(np.int64)
        for name in own.samples.columns:
            if name != "t_s":
                columns[name][rows] = own.samples[name].to_numpy()[place]
    return replace(cut, columns=columns, events=events), stances or [whole.stance_mm]


def labelled_events(recording: C3dFile) -> list[tuple[str, float]]:
    """Our events among the file's labels, with their seconds on the file's clock.

    EVENT:TIMES holds minutes and seconds on the clock on which frame 1 is at 0.
    """
    labels = recording.texts.get("EVENT.LABELS", [])
    times = recording.numbers.get("EVENT.TIMES", np.zeros((2, 0)))
    times = times.reshape(2, -1, order="F")
    used = min(len(labels), times.shape[1], int(first_of(recording.numbers, "EVENT.USED") or 0))
    found = []
    for label, (minutes, seconds) in zip(labels[:used], times.T[:used], strict=True):
        plain = "".join(letter for letter in label.lower() if letter.isalpha())
        event = next((name for name, labels in EVENT_NAMES.items() if plain in labels), None)
        at = float(60.0 * minutes + seconds)
        if event is not None and np.isfinite(at):
            found.append((event, at))
    return found


def _of_one_swing(file: str, labelled: Iterable[tuple[str, float]]) -> dict[str, float]:
    """One swing's events by name."""
    events: dict[str, float] = {}
    for event, at in labelled:
        if abs(events.setdefault(event, at) - at) > SAME_EVENT_S:
            what = f'the event "{event}" appears twice, at {events[event]:.3f} s and at {at:.3f} s'
            raise refuse("event_twice", what, "keep one of them in the recording", file=file)
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
