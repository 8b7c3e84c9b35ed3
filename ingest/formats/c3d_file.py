"""One C3D file off the disk: its header checked first, then read in a process that may fail alone."""

import io
import json
import os
import re
import struct
import subprocess
import sys
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.refusals import refuse
from warehouse.errors import Refused

Array = NDArray[np.float64]

BLOCK = 512
C3D_MARK = 0x50
INTEL, DEC, MIPS = 84, 85, 86
SIGN_BYTE = {INTEL: 3, DEC: 1, MIPS: 0}
ENDLESS = 65_535
READING_S, READING_S_PER_MB = 20.0, 1.0  # a damaged file can loop for ever
MM_PER = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "ft": 304.8}
Foot = tuple[str, str]
LEAST_LOAD_N = 10.0  # below it a centre of pressure is only noise over noise
PLAIN = re.compile(r"(?P<before>[lr])?(?:heel|hee|calcaneus|toes?|toetip|hallux)(?P<after>[lr])?")
SIDES = {"l": "left", "r": "right"}
STILL_S = 0.3
CHILD = Path(__file__).with_name("c3d_child.py")


@dataclass(frozen=True)
class C3dFile:
    """What one file holds. Points (3, P, T) in the file's own length unit, NaN where a marker was not seen.

    `analogs` (C, N) are scaled channel values; `numbers` and `texts` are parameters named GROUP.PARAMETER.
    """

    file: str
    points: Array
    analogs: Array
    point_rate_hz: float
    analog_rate_hz: float
    first_s: float
    body_mass_kg: float | None
    numbers: dict[str, Array]
    texts: dict[str, list[str]]

    @property
    def point_labels(self) -> list[str]:
        """Names of the markers, in the order of `points`."""
        return [name for key in ("", "2", "3") for name in self.texts.get(f"POINT.LABELS{key}", [])]

    def part(self, from_s: float, to_s: float) -> "C3dFile":
        """The frames between two times of the file's clock."""
        each = round(self.analog_rate_hz / self.point_rate_hz)
        low, high = (round((at - self.first_s) * self.point_rate_hz) for at in (from_s, to_s))
        low = max(low - 1, 0)
        points, analogs = self.points[:, :, low : high + 2], self.analogs[:, low * each : (high + 2) * each]
        return replace(self, points=points, analogs=analogs, first_s=self.first_s + low / self.point_rate_hz)

    def analog_unit(self, channel: int) -> str:
        """Unit of one channel (from 0), letters only and lower-case; empty when the file names none."""
        units = self.texts.get("ANALOG.UNITS", []) + self.texts.get("ANALOG.UNITS2", [])
        text = units[channel] if channel < len(units) else ""
        return "".join(letter for letter in text.lower() if letter.isalpha())


@dataclass(frozen=True)
class Platform:
    """One platform. `number` counts from 1; corners (4, 3) mm; load (N,) N, down positive; CoP (N, 3) mm.

    The centre of pressure is NaN where the platform carries less than 10 N.
    """

    number: int
    corners_mm: Array
    load_n: Array
    cop_mm: Array

    @property
    def centre_mm(self) -> Array:
        """Middle of the working surface, (3,)."""
        return np.asarray(self.corners_mm.mean(axis=0))

    @property
    def seen(self) -> Array:
        """The centres of pressure that there are, (n, 3) mm."""
        return np.asarray(self.cop_mm[np.isfinite(self.cop_mm).all(axis=1)])

    @property
    def axes(self) -> Array:
        """Unit axes x, y, z of the platform as columns, (3, 3)."""
        return plate_axes(self.corners_mm)


def plate_axes(corners: Array) -> Array:
    """Unit axes x, y, z as columns (3, 3): x from corner 2 to 1, z along x × (from corner 4 to 1)."""
    x = corners[0] - corners[1]
    z = np.asarray(np.cross(x, corners[0] - corners[3]))
    y = np.cross(z, x)
    return np.stack([x / np.linalg.norm(x), y / np.linalg.norm(y), z / np.linalg.norm(z)], axis=1)


def open_c3d(path: Path) -> C3dFile:
    """Read one C3D file.

    The first block is checked here. All else is read by the library in a process of its own, since a damaged
    parameter section can crash it; what it returns is checked again.

    Raises
        Refused: not a C3D file, cut short, or damaged.
    """
    frames = check_header(path)
    read = _read_apart(path)
    texts: dict[str, list[str]] = json.loads(read.pop("texts").tobytes())
    arrays = {name: np.asarray(array, dtype=float) for name, array in read.items()}
    points, residuals = arrays.pop("points"), arrays.pop("residuals")
    analogs, header_rate = arrays.pop("analogs"), float(arrays.pop("frame_rate"))
    first_frame, mass = float(arrays.pop("first_frame")), first_of(arrays, "body_mass")
    count = points.shape[2] if points.shape[1] else frames or 0
    point_rate, analog_rate = _rates(path.name, arrays, header_rate, count, analogs.shape[1])
    unseen = (residuals < 0) | ~np.isfinite(points).all(axis=0) | (points == 0).all(axis=0)
    return C3dFile(
        file=path.name,
        points=np.where(unseen, np.nan, points),
        analogs=analogs,
        point_rate_hz=point_rate,
        analog_rate_hz=analog_rate,
        first_s=first_frame / point_rate,
        body_mass_kg=mass if mass is not None and 10.0 <= mass <= 300.0 else None,
        numbers=arrays,
        texts=texts,
    )


def check_header(path: Path) -> int | None:
    """Check the first block against the file's size; return the number of frames (None: too many to say).

    Raises
        Refused: not a C3D file, or shorter than its header says.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _damaged(path.name) from error
    table = (data[0] - 1) * BLOCK if data else 0
    if len(data) < 2 * BLOCK or data[1] != C3D_MARK or table < BLOCK or table + 4 > len(data):
        what = "this is not a C3D file, or its first block is damaged"
        todo = "export the recording again as C3D and deliver it whole"
        raise refuse("not_c3d", what, todo, file=path.name)
    processor = data[table + 3]
    if processor not in SIGN_BYTE:
        raise _damaged(path.name)
    order = ">" if processor == MIPS else "<"
    points, channels, first, last = struct.unpack_from(order + "4H", data, 2)
    if last >= ENDLESS or last < first:
        return None
    start = (struct.unpack_from(order + "H", data, 16)[0] - 1) * BLOCK
    number_bytes = 4 if data[12 + SIGN_BYTE[processor]] & 0x80 else 2  # a negative scale means floating point
    frames, frame_bytes = int(last - first + 1), (4 * points + channels) * number_bytes
    whole = (len(data) - start) // frame_bytes if frame_bytes else 0
    if whole < frames:
        what = f"the file ends after {max(whole, 0)} of {frames} frames"
        todo = "copy the whole recording and deliver it again"
        raise refuse("cut_short", what, todo, file=path.name)
    return frames


def _read_apart(path: Path) -> dict[str, NDArray[Any]]:
    """Let the library read the file."""
    try:
        with np.load(io.BytesIO(_child(path)), allow_pickle=False) as archive:
            return {name: archive[name] for name in archive.files}
    except (ValueError, OSError, zipfile.BadZipFile) as error:
        raise _damaged(path.name) from error


def frames_of(path: Path, low: int, high: int) -> bytes:
    """A C3D file of the frames from `low` to before `high`, counted from 0, on the clock of the whole.

    Raises
        Refused: it is damaged.
    """
    return _child(path, str(low), str(high))


def _child(path: Path, *frames: str) -> bytes:
    """What the library's own process writes."""
    command = [sys.executable, "-P", str(CHILD), str(path), *frames]
    how: dict[str, Any] = {"capture_output": True, "env": os.environ | {"OPENBLAS_NUM_THREADS": "1"}}
    try:
        wait_s = READING_S + READING_S_PER_MB * path.stat().st_size / 1e6
        done = subprocess.run(command, timeout=wait_s, check=True, **how)  # noqa: S603
    except (subprocess.SubprocessError, OSError) as error:
        raise _damaged(path.name) from error
    return bytes(done.stdout)


def _rates(
    file: str, numbers: dict[str, Array], header_rate: float, frames: int, samples: int
) -> tuple[float, float]:
    """Point and analog rate; of platforms alone POINT:RATE may be 0, and ANALOG:RATE rules."""
    if frames < 1 or samples < 1 or samples % frames:
        raise _damaged(file)
    each = samples // frames
    stated = [first_of(numbers, "POINT.RATE"), header_rate, (first_of(numbers, "ANALOG.RATE") or 0.0) / each]
    rates = [rate for rate in stated if rate is not None and np.isfinite(rate) and rate > 0]
    if not rates:
        what = "neither POINT:RATE nor ANALOG:RATE says how many samples were taken a second"
        todo = "export the recording again with its rates"
        raise refuse("no_rate", what, todo, file=file)
    return rates[0], rates[0] * each


def first_of(numbers: dict[str, Array], name: str) -> float | None:
    """First value of a numeric parameter; None when it is missing or empty."""
    values = numbers.get(name)
    return float(values.flat[0]) if values is not None and values.size else None


def _damaged(file: str) -> Refused:
    what = "the C3D file is damaged and cannot be read"
    todo = "export the recording again and deliver it whole"
    return refuse("unreadable", what, todo, file=file)


def foot_markers(recording: C3dFile) -> dict[Foot, Array]:
    """Heel and toe markers by (side, part), each (T, 3) in mm; the plainest label wins a place."""
    unit = "".join(recording.texts.get("POINT.UNITS", ["mm"])[:1]).strip().lower()
    best: dict[Foot, tuple[int, int]] = {}
    for column, label in enumerate(recording.point_labels[: recording.points.shape[1]]):
        foot = marker_place(label)
        if foot is not None and np.isfinite(recording.points[:, column]).any():
            best[foot] = min(best.get(foot, (len(label), column)), (len(label), column))
    return {foot: recording.points[:, column].T * MM_PER.get(unit, 1.0) for foot, (_, column) in best.items()}


def marker_place(label: str) -> Foot | None:
    """Which point of which foot a label names: LHEE, "right toe", "Heel_Lead", "S1:L.Toe". Else None."""
    name = "".join(re.findall(r"[a-z]+", label.rsplit(":", 1)[-1].lower()))
    sides = [side for side in ("left", "right", "lead", "trail") if side in name]
    plain = PLAIN.fullmatch(name)
    if plain is not None and not sides:
        sides = [SIDES[letter] for letter in (plain["before"], plain["after"]) if letter]
    parts = ["heel" for word in ("heel", "hee", "calcaneus") if word in name][:1]
    parts += ["toe" for word in ("toe", "hallux") if word in name][:1]
    if len(sides) != 1 or len(parts) != 1 or "club" in name:
        return None
    return sides[0], parts[0]


def address_points(recording: C3dFile, tracks: Array, address_s: float | None) -> Array:
    """Where the four markers (4, T, 3) are at address, (4, 3); NaN for one that is not seen there."""
    rate, frames = recording.point_rate_hz, tracks.shape[1]
    width = max(1, min(frames, round(STILL_S * rate)))
    if address_s is not None:
        start = round((address_s - recording.first_s) * rate) - width // 2
    else:
        steps = np.linalg.norm(np.diff(tracks, axis=1), axis=2).sum(axis=0)
        steps = np.where(np.isfinite(steps), steps, np.inf)[: max(width, frames // 2)]
        moved = np.array([steps[k : k + width].sum() for k in range(max(1, steps.size - width + 1))])
        start = int(np.argmin(moved))
    start = min(max(start, 0), frames - width)
    still = tracks[:, start : start + width]
    seen = np.isfinite(still).all(axis=(0, 2))
    return np.asarray(np.median(still[:, seen], axis=1)) if seen.any() else np.full((4, 3), np.nan)
