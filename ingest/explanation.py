"""What a file would be read as, and the `[device.NAME]` table that makes an odd export load.

Nothing is loaded. What can't be decided is asked for in one sentence.
"""

import io
import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from ingest.formats import column_guess as likeness
from ingest.formats.c3d import read_events
from ingest.formats.c3d_file import foot_markers, open_c3d
from ingest.formats.c3d_platforms import read_platforms
from ingest.formats.column_guess import UNDECIDED, Likeness
from ingest.formats.grid_file import open_frames
from ingest.formats.rosters import ROSTERS
from ingest.formats.session_toml import glance
from ingest.sample_checks import snapped
from ingest.sheets import Sheet, open_sheet
from ingest.tables import read_table
from warehouse.contracts.base import Contract, columns_of, required_of
from warehouse.contracts.deliveries import ClipLine, EventLine, NoteLine, ShotLine
from warehouse.errors import Refused, UnderfootError

LINES: dict[str, type[Contract]] = {
    "events": EventLine, "clip": ClipLine, "notes": NoteLine, "shots": ShotLine,
}  # fmt: skip
SHOWN_PROBLEMS = 5


@dataclass
class Explanation:
    """What a file was read as: facts in words, its columns, what is open, and a device table to paste."""

    file: str
    kind: str
    facts: dict[str, str] = field(default_factory=dict)
    columns: list[Likeness] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    table: str | None = None

    def to_json(self) -> dict[str, Any]:
        """The object that `underfoot load --explain FILE --json` prints."""
        told = [
            {"column": c.theirs, "ours": c.ours, "unit": c.unit, "how": c.how, "low": c.low, "high": c.high}
            for c in self.columns
        ]
        return {
            "file": self.file, "kind": self.kind, "facts": self.facts, "columns": told,
            "doubts": self.doubts, "device_table": self.table,
        }  # fmt: skip


def explain(path: Path, name: str = "mine") -> Explanation:
    """Read `path` without loading it; `name` is the device's in the proposed table.

    Raises
        UnderfootError: the file can't be read at all, in the sentence a load would give.
    """
    ending = path.suffix.lower()
    try:
        if ending == ".c3d":
            return _recording(path, name)
        if ending == ".npz":
            return _grid(path, name)
        if ending == ".parquet":
            names = pl.scan_parquet(path).collect_schema().names()
            return _grid(path, name) if "pressure" in names else _plate_parquet(path, name)
        if ending == ".toml":
            return _sheet(path)
        return _table(path, name)
    except (pl.exceptions.PolarsError, OSError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise UnderfootError(f"{path.name} can't be read ({why}); export it again.") from error


def _table(path: Path, name: str) -> Explanation:
    data, stem = path.read_bytes(), path.stem.lower()
    contract = ROSTERS[path.name].contract if path.name in ROSTERS else None
    contract = contract or next((LINES[kind] for kind in LINES if stem.startswith(kind)), None)
    if contract is None and path.suffix.lower() != ".jsonl":
        sheet = open_sheet(data, path.name)
        contract = None if stem.startswith("plate") else _contract_like(sheet.names)
    if contract is not None:
        return _lines(path, data, contract)
    if path.suffix.lower() == ".jsonl":
        return _lines(path, data, NoteLine)
    return _plate(path.name, sheet, name)


def _contract_like(names: tuple[str, ...]) -> type[Contract] | None:
    """The table whose required columns are all among the names; plate samples are looked at more closely."""
    kinds = [*LINES.values(), *(kind.contract for kind in ROSTERS.values())]
    return next((kind for kind in kinds if set(required_of(kind)) <= set(names)), None)


def _lines(path: Path, data: bytes, contract: type[Contract]) -> Explanation:
    """Notes, shots, clips, events and rosters: our own columns only, every broken rule with its line."""
    grain = (contract.__doc__ or "").strip().splitlines()[0]
    found = Explanation(path.name, grain.rstrip("."))
    try:
        table = read_table(data, path.name, contract, ZoneInfo("UTC"))
    except Refused as error:
        found.doubts.append(str(error))
        return found
    found.facts["rows"] = str(len(table.frame))
    given = [n for n in columns_of(contract) if table.frame[n].null_count() < len(table.frame)]
    found.facts["columns with values"] = ", ".join(given) or "none"
    for broken in table.broken[:SHOWN_PROBLEMS]:
        where = "" if broken.index is None else f"line {table.line_of(broken.index)}, "
        found.doubts.append(f"{where}{broken.column}: {broken.value} {broken.rule}")
    if len(table.broken) > SHOWN_PROBLEMS:
        found.doubts.append(f"and {len(table.broken) - SHOWN_PROBLEMS} more cells that break a rule")
    return found


def _plate(file: str, sheet: Sheet, name: str) -> Explanation:
    """A table of samples: each column likened to one of ours."""
    found = Explanation(file, "Samples of both feet, one row a sample", dict(sheet.facts))
    found.doubts += sheet.doubts
    _columns(found, sheet.numbers, sheet.units)
    _clock(found, sheet.numbers, sheet.rate_hz)
    _propose(found, name, sheet.rate_hz)
    return found


def _plate_parquet(path: Path, name: str) -> Explanation:
    frame = pl.read_parquet(io.BytesIO(path.read_bytes()))
    found = Explanation(path.name, "Samples of both feet, one row a sample", {"rows": str(len(frame))})
    numbers = {n: frame[n].cast(pl.Float64, strict=False).to_numpy() for n in frame.columns}
    _columns(found, numbers, {})
    _clock(found, numbers, None)
    _propose(found, name, None)
    return found


def _columns(found: Explanation, numbers: dict[str, Any], units: dict[str, str]) -> None:
    taken: set[str] = set()
    for theirs, values in numbers.items():
        like = likeness.liken(theirs, np.asarray(values, dtype=np.float64), units.get(theirs))
        if like.ours is not None and like.ours in taken:
            doubt = f'"{theirs}" looks like {like.ours} as well as an earlier column; map the right one'
            like = replace(like, ours=None, unit=None, how="a second column of the kind", doubt=doubt)
        taken.add(like.ours or "")
        found.columns.append(like)
    _weigh(found, numbers)
    found.doubts += [like.doubt for like in found.columns if like.doubt]
    has = {like.ours for like in found.columns}
    for need, sides in likeness.NEEDED.items():
        if not any(set(pair) <= has for pair in sides):
            found.doubts.append(f"no column was found for {need}; map it yourself under the table below")
    if "swing_no" not in has:
        todo = f'it is read as one swing when that swing\'s [[swing]] says file = "{found.file}"'
        found.facts["swing number"] = f"no column: {todo}"


def _weigh(found: Explanation, numbers: dict[str, Any]) -> None:
    """Loads whose unit is not stated are judged by what both feet carry together."""
    loads = [c for c in found.columns if c.ours in likeness.LOADS and c.how == likeness.BY_NAME]
    if len(loads) != 2:
        return
    first, second = (np.asarray(numbers[c.theirs], dtype=np.float64) for c in loads)
    told = likeness.weigh(first, second)
    for like in loads:
        place = found.columns.index(like)
        if told is None or told[0] == "share":
            why = told[1] if told else "both feet together fit several units"
            found.columns[place] = likeness.undecided(like, why, likeness.LOAD_UNITS)
        else:
            found.columns[place] = likeness.guess(like, *told)


def _clock(found: Explanation, numbers: dict[str, Any], rate_hz: float | None) -> None:
    clock = next((c for c in found.columns if c.ours == "t_s"), None)
    if clock is None or clock.unit == UNDECIDED:
        return
    steps = np.diff(np.asarray(numbers[clock.theirs], dtype=np.float64))
    steps = steps[np.isfinite(steps) & (steps > 0)]
    if clock.unit == "frames":
        found.facts["rate"] = f"{rate_hz:g} Hz, stated in the file" if rate_hz else "not stated"
        if not rate_hz:
            found.doubts.append("the clock counts frames; write their rate for the ? in the table")
    elif steps.size:
        factor = {"ms": 1e-3, "us": 1e-6}.get(clock.unit or "s", 1.0)
        found.facts["rate"] = f"{snapped(1.0 / (float(np.median(steps)) * factor)):.5g} Hz"


def _propose(found: Explanation, name: str, rate_hz: float | None) -> None:
    """The device table; none when every column already has our own name."""
    mapped = [like for like in found.columns if like.ours is not None]
    if all(like.ours == like.theirs for like in mapped) and len(mapped) == len(found.columns):
        found.facts["device table"] = "none is needed: every column has our own name"
        return
    head = [f"[device.{name}]", 'kind = "force_plates"  # or pressure_mat, insoles']
    if any(like.unit == "frames" for like in mapped):
        head.append(f"rate_hz = {rate_hz:g}" if rate_hz else 'rate_hz = "?"')
    lines = [likeness.written(like) for like in mapped]
    found.table = "\n".join([*head, f"[device.{name}.columns]", *lines, ""])


def _recording(path: Path, name: str) -> Explanation:
    recording = open_c3d(path)
    found = Explanation(path.name, "A C3D recording of force platforms, one swing")
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
    found.facts["events"] = ", ".join(f"{k} {v:.3f} s" for k, v in events.items()) or "none named as ours"
    note = "# the platform under the lead foot, when it is not found by the markers or [stance]"
    found.table = f'[device.{name}]\nkind = "force_plates"\nlead_platform = 1  {note}\n'
    return found


def _grid(path: Path, name: str) -> Explanation:
    frames = open_frames(path)
    count, rows, cols = frames.pressure.shape
    found = Explanation(path.name, "Pressure frames of a sensor grid")
    size = f"{rows * frames.pitch_mm:.0f} mm from heels to toes, {cols * frames.pitch_mm:.0f} mm across"
    found.facts["grid"] = f"{rows} rows × {cols} columns at {frames.pitch_mm:g} mm: {size}"
    found.facts["frames"] = f"{count} in {np.unique(frames.swing_no).size} swings"
    steps = np.diff(frames.t_s)
    steps = steps[steps > 0]
    found.facts["rate"] = f"{snapped(1.0 / float(np.median(steps))):.5g} Hz" if steps.size else "one frame"
    lowest, highest = float(np.nanmin(frames.pressure)), float(np.nanmax(frames.pressure))
    found.facts["pressure"] = f"{lowest:.4g} to {highest:.4g}, read as kPa"
    area_m2 = (frames.pitch_mm / 1000.0) ** 2
    load = float(np.nanmedian(np.nansum(frames.pressure, axis=(1, 2))) * 1000.0 * area_m2)
    found.facts["usual load"] = f"{load:.0f} N"
    if not likeness.BODY_N[0] <= load <= likeness.BODY_N[1]:
        found.doubts.append(f"a usual load of {load:.0f} N is no golfer's; check that pressures are in kPa")
    found.table = (
        f'[device.{name}]\nkind = "sensor_grid"\n'
        'rows = "heels_first"     # or toes_first\ncolumns = "left_first"   # or right_first\n'
    )
    return found


def _sheet(path: Path) -> Explanation:
    session, started = glance(path.read_bytes())
    found = Explanation(path.name, "A settings or session file")
    found.facts["session"] = json.dumps(session) if session else "none: not a session.toml"
    if started is not None:
        found.facts["started at"] = started.isoformat()
    return found
