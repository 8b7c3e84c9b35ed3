"""Force platforms of a C3D file: vertical load and centre of pressure in the recording's own floor.

Formulas: the C3D file format's user guide, group FORCE_PLATFORM, types 1 to 4. A platform's frame has x from
corner 2 to corner 1 and y from corner 4 to corner 1; by the standard its z points down into the floor.
FORCE_PLATFORM:ZERO is not applied: a golfer may stand on the platforms from the first frame on.
"""

import numpy as np

from ingest.formats.c3d_file import LEAST_LOAD_N, MM_PER, Array, C3dFile, Platform, first_of, plate_axes
from ingest.refusals import refuse
from warehouse.errors import Refused

LEAST_SIDE_MM, MOST_SIDE_MM = 100.0, 5_000.0
CHANNELS = {1: 6, 2: 6, 3: 8, 4: 6}


def read_platforms(recording: C3dFile) -> list[Platform]:
    """Every platform of the file, in its order.

    Raises
        Refused: fewer than two platforms, a type other than 1–4, missing channels, corners of no rectangle.
    """
    numbers, file = recording.numbers, recording.file
    used = int(first_of(numbers, "FORCE_PLATFORM.USED") or 0)
    if used < 2:
        has = f"{used} force platform{'' if used == 1 else 's'}"
        what = f"the file holds {has} but two are needed, one a foot"
        todo = "export the recording with both platforms"
        raise refuse("few_platforms", what, todo, file=file)
    kinds = numbers.get("FORCE_PLATFORM.TYPE", np.zeros(0)).ravel()
    corners = numbers.get("FORCE_PLATFORM.CORNERS", np.zeros(0)).ravel(order="F")
    origins = numbers.get("FORCE_PLATFORM.ORIGIN", np.zeros(0)).ravel(order="F")
    if kinds.size < used or corners.size < 12 * used or origins.size < 3 * used:
        raise _unfit(file, "the types, corners or origins of the platforms are missing")
    per_mm = _length_unit(recording, corners)
    square, from_middle = corners[: 12 * used].reshape(used, 4, 3), origins[: 3 * used].reshape(used, 3)
    return [
        _platform(recording, k, int(kinds[k]), square[k] * per_mm, from_middle[k] * per_mm, per_mm)
        for k in range(used)
    ]


def _platform(
    recording: C3dFile, index: int, kind: int, corners: Array, origin: Array, per_mm: float
) -> Platform:
    """One platform from its channels."""
    number, file = index + 1, recording.file
    if kind not in CHANNELS:
        raise _unfit(file, f"platform {number} is of type {kind}, and types 1 to 4 are read")
    if not (np.isfinite(corners).all() and np.isfinite(origin).all()):
        raise _unfit(file, f"the corners or the origin of platform {number} are not numbers")
    corners = ordered_corners(corners)
    sides = np.linalg.norm(corners[[1, 3]] - corners[0], axis=1)
    if not ((sides >= LEAST_SIDE_MM) & (sides <= MOST_SIDE_MM)).all():
        raise _unfit(file, f"platform {number} would measure {sides[0]:.4g} × {sides[1]:.4g} mm")
    channels = _channels(recording, index, kind)
    values = recording.analogs[channels]
    if kind == 4:
        values = _calibration(recording, index) @ values
    surface = surface_vector(origin, kind)
    unit = recording.analog_unit(channels[3])
    with np.errstate(all="ignore"):  # what comes of damaged samples is refused by the contract of plate rows
        if kind == 1:
            force, cop = values[:3], values[3:5] * MM_PER.get(unit, per_mm) - surface[:2, None]
        elif kind == 3:
            force, moment = eight_sensors(values, origin[0], origin[1])
            cop = cop_on_plate(force, moment, surface)
        else:
            force = values[:3]
            scale = moment_unit("" if kind == 4 else unit, per_mm, values)
            cop = cop_on_plate(force, values[3:6] * scale, surface)
        load = force[2] * (-1.0 if np.nansum(force[2]) < 0 else 1.0)
        inside = (load >= LEAST_LOAD_N) & (np.abs(cop) <= 2 * sides.max()).all(axis=0)
        local = np.where(inside, cop, np.nan)
        in_room = corners.mean(axis=0) + (plate_axes(corners)[:, :2] @ local).T
    return Platform(number, corners, load, in_room)


def cop_on_plate(force: Array, moment: Array, surface: Array) -> Array:
    """Centre of pressure on the working surface, in the platform's frame about the surface's middle.

    M′ = M − s × F, x = −M′y / Fz, y = M′x / Fz.

    force, moment: (3, N) about the platform's origin. surface s: (3,), from that origin to the middle of the
    surface (its z is negative when z points down). Returns (2, N) in the length unit of moment / force; no
    threshold is applied, so an unloaded platform gives values without meaning or NaN.
    """
    with np.errstate(all="ignore"):
        moment_x = moment[0] - (surface[1] * force[2] - surface[2] * force[1])
        moment_y = moment[1] - (surface[2] * force[0] - surface[0] * force[2])
        return np.stack([-moment_y / force[2], moment_x / force[2]])


def eight_sensors(values: Array, a: float, b: float) -> tuple[Array, Array]:
    """Force and moment (3, N) each from the channels (8, N) of a type 3 platform.

    Channels: Fx12, Fx34, Fy14, Fy23, Fz1, Fz2, Fz3, Fz4. Mx = b(z1 + z2 − z3 − z4),
    My = a(−z1 + z2 + z3 − z4), Mz = b(x34 − x12) + a(y14 − y23), with a and b the sensors' distances from the
    y and the x axis.
    """
    x12, x34, y14, y23, z1, z2, z3, z4 = values
    force = np.stack([x12 + x34, y14 + y23, z1 + z2 + z3 + z4])
    moment = np.stack([b * (z1 + z2 - z3 - z4), a * (-z1 + z2 + z3 - z4), b * (x34 - x12) + a * (y14 - y23)])
    return force, moment


def surface_vector(origin: Array, kind: int) -> Array:
    """From the platform's origin to the middle of its surface, (3,), from FORCE_PLATFORM:ORIGIN.

    The standard wants z negative, yet some writers store the opposite vector; a positive z shows it. Type 3
    stores the sensors' distances in x and y, so only z is of the vector.
    """
    if kind == 3:
        return np.array([0.0, 0.0, -abs(origin[2])])
    return np.where(origin[2] > 0, -origin, origin)


def ordered_corners(corners: Array) -> Array:
    """Corners (4, 3) as a loop, the first kept first.

    In four corners written crosswise (a bow-tie) corner 3 is not opposite corner 1. Corner 3 then changes
    places with the one that is, which keeps an edge of the platform as it was written.
    """
    spread = [float(np.linalg.norm(corners[0] + corners[k] - corners.mean(axis=0) * 2)) for k in (1, 2, 3)]
    opposite = int(np.argmin(spread)) + 1
    if opposite == 2:
        return corners
    return corners[[0, 2, 1, 3] if opposite == 1 else [0, 1, 3, 2]]


def _channels(recording: C3dFile, index: int, kind: int) -> list[int]:
    """Analog channels (from 0) of one platform."""
    table = recording.numbers.get("FORCE_PLATFORM.CHANNEL", np.zeros((0, 0)))
    wanted = CHANNELS[kind]
    if table.ndim == 1:
        table = table[:, None]
    if table.ndim == 2 and table.shape[0] >= wanted and table.shape[1] > index:
        channels = [int(number) - 1 for number in table[:wanted, index]]
        if all(0 <= channel < recording.analogs.shape[0] for channel in channels):
            return channels
    raise _unfit(recording.file, f"the file does not hold the {wanted} channels of platform {index + 1}")


def _calibration(recording: C3dFile, index: int) -> Array:
    """Calibration matrix (6, 6) of one type 4 platform, rows the components and columns the channels."""
    matrix = recording.numbers.get("FORCE_PLATFORM.CAL_MATRIX", np.zeros(0))
    if matrix.ndim == 2:
        matrix = matrix[:, :, None]
    if matrix.ndim == 3 and matrix.shape[:2] == (6, 6) and matrix.shape[2] > index:
        return np.asarray(matrix[:, :, index])
    raise _unfit(recording.file, f"platform {index + 1} is of type 4 but has no calibration matrix")


def _length_unit(recording: C3dFile, corners: Array) -> float:
    """Millimetres in one length unit of the file; where none is named, corners decide between m and mm."""
    unit = "".join(recording.texts.get("POINT.UNITS", [""])[:1]).strip().lower()
    if unit in MM_PER:
        return MM_PER[unit]
    if unit:
        raise _unfit(recording.file, f'POINT:UNITS is "{unit}", and mm, cm, m, in and ft are read')
    longest = np.nanmax(np.abs(np.diff(corners.reshape(-1, 3)[:4], axis=0)))
    return 1.0 if longest > MOST_SIDE_MM / 500 else 1000.0


def moment_unit(unit: str, per_mm: float, values: Array) -> float:
    """Millimetres in one length unit of the moments of `values` (6, N).

    "nmm" or "nm", as the channels' unit; where that says nothing (volts before a calibration matrix), the
    length unit of the points. With points in mm makers still write N·m there, and it shows: every moment over
    load then stays under 2, which as mm would be a foot that never leaves the platform's very origin.
    """
    if unit.startswith("n") and unit[1:] in MM_PER:
        return MM_PER[unit[1:]]
    loaded = np.abs(values[2]) >= LEAST_LOAD_N
    if per_mm == 1.0 and loaded.any():
        arms = np.abs(values[3:5, loaded] / values[2, loaded])
        return 1000.0 if float(np.percentile(arms, 95)) < 2.0 else 1.0
    return per_mm


def _unfit(file: str, what: str) -> Refused:
    todo = "correct the platforms in the recording program and export again"
    return refuse("platforms_unfit", what, todo, file=file)
