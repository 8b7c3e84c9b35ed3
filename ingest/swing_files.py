"""Every file of a session that holds samples of the feet: plate files, sensor grids, C3D recordings."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatch
from pathlib import Path

import numpy as np
import polars as pl

from ingest.academy import Academy
from ingest.formats.c3d import read_c3d
from ingest.formats.plate_columns import Source
from ingest.formats.plate_table import PlateFile, read_plate_file
from ingest.formats.sensor_grid import read_frames
from ingest.refusals import DetailedRefusal, refusal, refuse
from ingest.session_file import FILE, SessionHeader
from warehouse.contracts.base import columns_of
from warehouse.contracts.deliveries import PlateSample
from warehouse.errors import Refusal, Refused

_PLATES = ("plate*.csv", "plate*.parquet")
_FRAMES = ("frames.npz", "frames.parquet")
_C3D = ("*.c3d",)
_TABLES = (".csv", ".parquet")
_AGAIN = "mend it and deliver the session again"


@dataclass
class Measured:
    """What a session's sample files came to.

    `header` has what a recording itself told and session.toml did not: stance, body mass. `events` are those
    labelled in a swing's own recording; `flags` what a reader saw of a swing, with a count each; `refused`
    swings whose own recording can't be taken; `notices` what was mended while reading, a sentence each.
    """

    header: SessionHeader
    files: list[PlateFile] = field(default_factory=list)
    events: dict[int, dict[str, float]] = field(default_factory=dict)
    flags: dict[int, dict[str, int]] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)


def sample_files(names: Sequence[str], header: SessionHeader) -> list[str]:
    """The files among a session's that hold samples: by their usual name, or as a [[swing]] names them."""
    named = {swing.file for swing in header.swings.values()}
    usual = (*_PLATES, *_FRAMES, *_C3D)
    return [
        n
        for n in names
        if any(fnmatch(n.lower(), p) for p in usual) or (n in named and n.lower().endswith(_TABLES))
    ]


def read_measured(
    header: SessionHeader, base: Path, names: Sequence[str], held: dict[str, bytes], academy: Academy
) -> Measured:
    """Read every sample file of a session.

    Raises
        Refused: a file of several swings can't be read, or the student's hand is needed and not known.
    """
    measured = Measured(header)
    files = sample_files(names, header)
    grids = [name for name in files if name.lower() in _FRAMES]
    tables = [name for name in files if name.lower().endswith(_TABLES) and name not in grids]
    for name in files:
        if name in grids:
            _grid(measured, base / name, academy)
        elif name in tables:
            no = _swing_of(header, name, tables)
            measured.files.append(read_plate_file(name, held[name], header, academy, swing_no=no))
    for no, name in _swings_of(header, names).items():
        try:
            _recording(measured, no, base, name, names, academy)
        except Refused as refused:
            told = refused.refusal
            measured.refused.append(
                _of_swing(told, no, header.session) if isinstance(told, DetailedRefusal) else told
            )
    return measured


def _of_swing(told: DetailedRefusal, no: int, session: str) -> Refusal:
    sentence = f"Swing {no} of {session}, {told.sentence}"
    return replace(told, session=session, swing_no=no, sentence=sentence)


def _swing_of(header: SessionHeader, name: str, tables: Sequence[str]) -> int | None:
    """Which swing a plate file is, if it is one: as its [[swing]] names it, or one file of one swing."""
    named = [no for no, swing in header.swings.items() if swing.file == name]
    if len(named) == 1:
        return named[0]
    return next(iter(header.swings)) if len(tables) == len(header.swings) == 1 and not header.holds else None


def _swings_of(header: SessionHeader, names: Sequence[str]) -> dict[int, str]:
    """Which swing each recording is: as its [[swing]] names it; one recording of one swing needs no name."""
    tables = [n for n in sample_files(names, header) if n.lower().endswith(_TABLES)]
    named = {
        no: swing.file
        for no, swing in header.swings.items()
        if swing.file is not None and swing.file not in tables
    }
    recordings = [name for name in names if name.lower().endswith(".c3d")]
    if not named and len(recordings) == 1 and len(header.swings) == 1:
        return {next(iter(header.swings)): recordings[0]}
    unnamed = [name for name in recordings if name not in named.values()]
    if unnamed:
        what = f"{unnamed[0]} is not named by any [[swing]]"
        todo = f'add file = "{unnamed[0]}" to the swing it is, and deliver the session again'
        raise refuse("unmatched_swing", what, todo, session=header.session, file=FILE)
    return named


def _hand(header: SessionHeader, academy: Academy, file: str) -> str:
    hand = academy.people[header.student].handed
    if hand is None:
        what = f"people.csv does not say which hand {header.student} plays with"
        todo = "fill in handed for them and deliver people.csv and the session again"
        raise refuse("no_handedness", what, todo, session=header.session, file=file)
    return hand


def _grid(measured: Measured, path: Path, academy: Academy) -> None:
    header = measured.header
    device = academy.settings.devices[header.device or ""]
    grid = read_frames(path, device_options=device.raw, handed=_hand(header, academy, path.name))
    measured.files.append(_as_plate_file(path.name, grid.samples))
    for no, flags in grid.flags.items():
        measured.flags.setdefault(no, {}).update(flags)
    if grid.notice is not None:
        measured.notices.append(f"Session {header.session}, {path.name}: {grid.notice}")
    if header.stance_mm is None and grid.session_stance_mm is not None:
        measured.header = replace(header, stance_mm=tuple(grid.session_stance_mm))


def _recording(
    measured: Measured, no: int, base: Path, name: str, names: Sequence[str], academy: Academy
) -> None:
    header = measured.header
    if name not in names or not name.lower().endswith(".c3d"):
        what = f"{name} is not a plate file or C3D recording in the session's folder"
        raise Refused(refusal("no_samples", what, _AGAIN, file=FILE, column="file"))
    device, person = academy.settings.devices[header.device or ""], academy.people[header.student]
    platform = device.raw.get("lead_platform")
    found = read_c3d(
        base / name,
        lead_platform=platform if isinstance(platform, int) else None,
        handed=_hand(header, academy, name),
        stance_mm=header.stance_mm,
        foot_length_mm=person.foot_length_mm,
    )
    measured.files.append(_as_plate_file(name, found.samples.with_columns(swing_no=pl.lit(no))))
    measured.events[no] = found.events
    mass = found.body_mass_kg
    measured.header = replace(
        header,
        stance_mm=header.stance_mm or (tuple(found.stance_mm) if found.stance_mm else None),
        body_mass_kg=header.body_mass_kg or (mass if mass is not None and 15 <= mass <= 250 else None),
    )


def _as_plate_file(file: str, samples: pl.DataFrame) -> PlateFile:
    """A reader's samples, which are in our names and units already."""
    columns = {
        name: samples[name].cast(pl.Float64).to_numpy()
        for name in columns_of(PlateSample)
        if name in samples.columns
    }
    sources = {name: Source(name, name, 1.0, None) for name in columns}
    return PlateFile(file, columns, np.arange(1, len(samples) + 1), sources, [])
