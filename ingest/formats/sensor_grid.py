"""Pressure frames of a sensor grid (`frames.npz`, `frames.parquet`) as plate samples: one row a frame.

Loads over one foot's sensors; along and across from the centre of pressure against the foot's own axis and
length; heel load over the rear third. Handedness is applied here: x grows toward the target.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.formats.explanation import BODY_N, Explanation, Knowing
from ingest.formats.footprints import Marks, Plane, loaded, split
from ingest.formats.format import SampleFormat, SessionContext
from ingest.formats.grid_file import Frames, open_frames
from ingest.formats.grid_recording import N_PER_KPA_MM2, Recording
from ingest.plate_rows import SampleFile, snapped
from ingest.recording.swings import cut_up
from ingest.refusals import refuse
from warehouse.vocabulary import SAMPLE_COLUMNS

NOISE_BELOW_KPA = -5.0  # sensors scatter a little under 0; more is another unit or a broken zero
ABSURD_KPA = 5000.0
WINDOW_S = 2.0  # feet stand in one place for longer
MOST_STUCK = 0.1  # of all sensors
LEAST_TOTAL_N, MOST_TOTAL_N = 50.0, 6000.0
_EXPORT = "export the recording again and deliver the session again"

Parts = Mapping[int, tuple[pl.DataFrame, list[float]]]  # samples and stance by swing


@dataclass(frozen=True)
class Grid:
    """What a recording of a sensor grid came to.

    samples: one row a frame in the file's order: swing_no, t_s, then the columns of a plate (N, %, mm;
        Float64; along and across are null while the foot carries under 2 % of the swing's high total load).
        Frames with a value missing are left out (a gap in the clock), and so are swings without two feet.
    stance_mm: per swing: lead heel x, y, lead toe x, y, trail heel x, y, trail toe x, y at address, mm; x
        toward the target from the middle of the grid, y toward the toes from its heel edge (cop_x_mm and
        cop_y_mm alike).
    dead, stuck: (row, col) of sensors in the file's own order, counted from 0: dead ones never showed a load
        though a foot stood on them, stuck ones never changed. Both were filled from their neighbours.
    flags: per swing that has one, with a count: feet_not_found, saturated, sensors_filled (how many).
    """

    samples: pl.DataFrame
    stance_mm: dict[int, list[float]]
    dead: list[tuple[int, int]]
    stuck: list[tuple[int, int]]
    flags: dict[int, dict[str, int]] = field(default_factory=dict)

    @property
    def notice(self) -> str | None:
        """One sentence on the sensors that were filled; None when all were sound."""
        found = ((len(self.dead), "read nothing under a foot"), (len(self.stuck), "never changed"))
        faulty = " and ".join(f"{n} sensor{'' if n == 1 else 's'} {what}" for n, what in found if n)
        if not faulty:
            return None
        todo = "have the grid checked when they grow more"
        return f"{faulty}, and were filled in from their neighbours; {todo}."

    @property
    def session_stance_mm(self) -> tuple[float, ...]:
        """Median stance of the session's swings."""
        return tuple(np.median(list(self.stance_mm.values()), axis=0).tolist())


class SensorGrid(SampleFormat):
    """Pressure frames of a sensor grid."""

    title = "Pressure frames of a sensor grid"
    names = ("frames.npz", "frames.parquet")
    orphans = ("frames.*",)
    in_memory = False

    def looks_like(self, path: Path) -> bool:
        """An archive of arrays, or a Parquet table with a column of pressures."""
        ending = path.suffix.lower()
        parquet = ending == ".parquet" and "pressure" in pl.scan_parquet(path).collect_schema().names()
        return parquet or ending == ".npz"

    def read(self, name: str, swing_no: int | None, context: SessionContext) -> SampleFile:
        """Read a session's frames; without swing numbers they are one swing's, or many in a row."""
        turned = _turned(name, context)
        cut = None
        if turned.frames.swing_no is None and swing_no is None:
            cut = _cut(turned, context)
        grid = turned.read(cut, swing_no)
        flags = {} if cut is None else cut.flags
        return replace(
            SampleFile.of(name, grid.samples),
            flags={no: flags.get(no, {}) | grid.flags.get(no, {}) for no in flags.keys() | grid.flags.keys()},
            stance_mm=grid.session_stance_mm,
            notice=grid.notice,
            found={} if cut is None else cut.found,
        )

    def cut(self, name: str, context: SessionContext) -> SampleFile:
        """Both feet's loads around each swing of a continuous recording; lines count the frames from 1."""
        return _cut(_turned(name, context), context)

    def explain(self, path: Path, knowing: Knowing) -> Explanation:
        """Size, rate and usual load of a grid's frames."""
        frames = open_frames(path)
        count, rows, cols = frames.pressure.shape
        found = Explanation(path.name, self.title)
        size = f"{rows * frames.pitch_mm:.0f} mm from heels to toes, {cols * frames.pitch_mm:.0f} mm across"
        found.facts["grid"] = f"{rows} rows × {cols} columns at {frames.pitch_mm:g} mm: {size}"
        number = frames.swing_no
        swings = "without swing numbers" if number is None else f"in {np.unique(number).size} swings"
        found.facts["frames"] = f"{count} {swings}"
        steps = np.diff(frames.t_s)
        steps = steps[steps > 0]
        rate = f"{snapped(1.0 / float(np.median(steps))):.5g} Hz" if steps.size else "one frame"
        found.facts["rate"] = rate
        lowest, highest = float(np.nanmin(frames.pressure)), float(np.nanmax(frames.pressure))
        found.facts["pressure"] = f"{lowest:.4g} to {highest:.4g}, read as kPa"
        area_m2 = (frames.pitch_mm / 1000.0) ** 2
        load = float(np.nanmedian(np.nansum(frames.pressure, axis=(1, 2))) * 1000.0 * area_m2)
        found.facts["usual load"] = f"{load:.0f} N"
        if not BODY_N[0] <= load <= BODY_N[1]:
            what = f"a usual load of {load:.0f} N is no golfer's"
            found.doubts.append(f"{what}; check that pressures are in kPa")
        found.table = (
            f'[device.{knowing.device}]\nkind = "sensor_grid"\n'
            'rows = "heels_first"     # or toes_first\ncolumns = "left_first"   # or right_first\n'
        )
        return found


@dataclass(frozen=True)
class Turned:
    """An opened file with its frames turned (x toward the target, y toward the toes), and its whole rows."""

    path: Path
    frames: Frames
    turn: tuple[slice, slice, slice]  # from the file's own order, and back
    whole: NDArray[np.int64]

    def loads(self) -> SampleFile:
        """Both feet's loads, near enough to find the swings by; lines count the frames from 1."""
        lead, trail = _loads_of_sides(self.frames, self.whole)
        columns = {"t_s": self.frames.t_s[self.whole], "lead_n": lead, "trail_n": trail}
        return SampleFile(self.path.name, columns, self.whole + 1, {})

    def read(self, cut: SampleFile | None = None, swing_no: int | None = None) -> Grid:
        """Samples of the swings as the file numbers them, as they were `cut`, or of the one numbered so.

        Raises
            Refused: over a tenth of the sensors are stuck, no swing shows two feet, or no golfer's load.
        """
        frames, kept = self.frames, self.whole
        if cut is not None:
            rows = cut.lines - 1
            number = cut.columns["swing_no"].astype(np.int64)
            frames = Frames(frames.pressure[rows], frames.t_s[rows], number, frames.pitch_mm)
            kept = np.arange(len(rows))
        elif frames.swing_no is None:
            frames = replace(frames, swing_no=np.full(len(frames.t_s), swing_no))
        return _reduced(self, Recording(frames, kept))


def _turned(name: str, context: SessionContext) -> Turned:
    options = context.device.raw if context.device is not None else {}
    return open_turned(context.base / name, options, context.hand(name))


def _cut(turned: Turned, context: SessionContext) -> SampleFile:
    return cut_up(turned.loads(), context.header.holds.values(), session=context.header.session)


def open_turned(path: Path, options: Mapping[str, Any], handed: str) -> Turned:
    """Open frames.npz or frames.parquet of a sensor grid.

    `options` may hold rows = "toes_first" and columns = "right_first" ([device.NAME] of academy.toml);
    `handed` is "right" or "left": a right-handed golfer's lead foot is the left.

    Raises
        Refused: the file can't be read, its arrays do not fit, or pressures are negative or absurd.
    """
    frames = open_frames(path)
    whole = _whole_frames(path, frames)
    flip_rows = _option(path, options, "rows", "heels_first", "toes_first")
    flip_cols = _option(path, options, "columns", "left_first", "right_first") != (handed != "left")
    turn = (slice(None), slice(None, None, -1 if flip_rows else 1), slice(None, None, -1 if flip_cols else 1))
    return Turned(path, replace(frames, pressure=frames.pressure[turn]), turn, whole)


def _reduced(turned: Turned, recording: Recording) -> Grid:
    path = turned.path
    if recording.stuck.mean() > MOST_STUCK:
        what = f"{int(recording.stuck.sum())} of {recording.stuck.size} sensors show one pressure throughout"
        raise refuse("stuck", what, "zero the grid and record again", file=path.name, column="pressure")
    parts = {no: part for no in recording.swings if (part := recording.reduce(no)) is not None}
    if not parts:
        what = "two whole feet were not found in any swing"
        todo = "check that both feet stand on the grid, and rows and columns of the device in academy.toml"
        raise refuse("feet_not_found", what, todo, file=path.name, column="pressure")
    _check_total(path, parts)
    order = np.argsort(np.concatenate([recording.swings[no].rows for no in parts]), kind="stable")
    samples = pl.concat([samples for samples, _ in parts.values()])[order]
    samples, stances = samples.select("swing_no", "t_s", *SAMPLE_COLUMNS), {no: parts[no][1] for no in parts}
    dead, stuck = (_places(marks[turned.turn[1:]]) for marks in (recording.dead, recording.stuck))
    return Grid(samples, stances, dead, stuck, _flags(recording, parts))


def _flags(recording: Recording, parts: Parts) -> dict[int, dict[str, int]]:
    """Flags by swing; a filled sensor counts in every swing of the recording whose feet were found."""
    flags = {}
    filled = int((recording.dead | recording.stuck).sum())
    for no in recording.swings:
        counts = {
            "feet_not_found": int(no not in parts),
            "saturated": int(recording.saturated(no)),
            "sensors_filled": filled if no in parts else 0,
        }
        if any(counts.values()):
            flags[no] = {name: count for name, count in counts.items() if count}
    return flags


def _option(path: Path, options: Mapping[str, Any], name: str, plain: str, turned: str) -> bool:
    given = options.get(name, plain)
    if given not in (plain, turned):
        what = f'the device has {name} = "{given}" but it must be "{plain}" or "{turned}"'
        raise refuse("bad_device", what, "correct it in academy.toml and deliver again", file=path.name)
    return bool(given == turned)


def _whole_frames(path: Path, frames: Frames) -> NDArray[np.int64]:
    """Rows of frames without a missing value, pressures checked; a sensor missing throughout reads 0."""
    pressure = frames.pressure
    low, high = np.float32(np.nan), np.float32(np.nan)
    if pressure.size:
        low, high = np.fmin.reduce(pressure, axis=None), np.fmax.reduce(pressure, axis=None)
    for value, wrong in ((low, low < NOISE_BELOW_KPA), (high, high > ABSURD_KPA)):
        if wrong:
            frame, row, col = (int(v) for v in np.argwhere(pressure == value)[0])
            what = f"pressure is {value:g} kPa in frame {frame}, row {row}, column {col} (counted from 0)"
            what += f" but must be 0 to {ABSURD_KPA:g} kPa"
            raise refuse("out_of_range", what, "export in kPa, zeroed", file=path.name, column="pressure")
    if not (np.isnan(low) or np.isnan(pressure.sum(dtype=np.float64))):
        return np.arange(len(pressure))
    missing = np.isnan(pressure)
    pressure[:, missing.all(axis=0)] = 0.0
    kept = np.flatnonzero(~np.isnan(pressure).any(axis=(1, 2)))
    if np.isnan(low) or not kept.size:
        raise refuse("empty_value", "no frame is whole", _EXPORT, file=path.name, column="pressure")
    return kept


def _check_total(path: Path, parts: Parts) -> None:
    for no, (samples, _) in parts.items():
        total = float(np.quantile((samples["lead_n"] + samples["trail_n"]).to_numpy(), 0.9))
        if not LEAST_TOTAL_N <= total <= MOST_TOTAL_N:
            what = f"both feet carry {total:.4g} N in swing {no}"
            what += f" but must carry {LEAST_TOTAL_N:g} to {MOST_TOTAL_N:g} N"
            todo = "check that pressure is in kPa and pitch_mm in mm, and deliver the session again"
            raise refuse("out_of_range", what, todo, file=path.name, column="pressure")


def _places(marks: Marks) -> list[tuple[int, int]]:
    return [(int(row), int(col)) for row, col in np.argwhere(marks)]


def _loads_of_sides(
    frames: Frames, kept: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lead and trail foot's load (N) of these frames, each the load on its side of a line between the feet.

    The line is found anew for every WINDOW_S; where there are no two feet in one, that of the window before
    stands, and before the first of them the middle of the grid.
    """
    plane = Plane(frames.pressure.shape[1], frames.pressure.shape[2], frames.pitch_mm)
    side: Marks = plane.x > float(np.mean(plane.x))
    newton = plane.pitch_mm**2 * N_PER_KPA_MM2
    time, lead, total = frames.t_s[kept], np.zeros(len(kept)), np.zeros(len(kept))
    window = np.floor((time - time.min()) / WINDOW_S).astype(np.int64)
    edges = [0, *(np.flatnonzero(np.diff(window)) + 1).tolist(), len(kept)]
    for low, high in pairwise(edges):
        pressure = frames.pressure[kept[low:high]]
        peak = pressure.max(axis=0).astype(np.float64)
        found = split(peak, loaded(peak, plane), plane)
        side = side if found is None else found
        total[low:high] = pressure.sum(axis=(1, 2), dtype=np.float64)
        lead[low:high] = pressure[:, side].sum(axis=1, dtype=np.float64)
    return lead * newton, (total - lead) * newton
