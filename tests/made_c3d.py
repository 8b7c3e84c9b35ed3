"""C3D recordings made from plate rows: two platforms, markers and events, written with ezc3d."""

from dataclasses import dataclass, field, replace
from pathlib import Path

import ezc3d
import numpy as np
import polars as pl

from ingest.formats.c3d import Recording, read_recording
from ingest.formats.c3d_feet import C3dSetup
from ingest.formats.c3d_file import open_c3d

# Feet on the golfer's floor (mm, x toward the target, y toward the toes): lead heel, lead toe, trail heel, trail toe.
FEET = np.array([[200.0, -120.0], [245.0, 128.0], [-210.0, -125.0], [-225.0, 126.0]])
CENTRES = {"lead": np.array([230.0, 30.0]), "trail": np.array([-235.0, 20.0])}
STEP_MM = 70.0
HALF = np.array([200.0, 300.0])  # half sides of a platform along its own x and y
SENSORS = (160.0, 250.0)


@dataclass
class Setup:
    """How a recording is made. Angles turn each platform, and the whole room, about the vertical."""

    handed: str = "right"
    kind: int = 2
    lead_number: int = 1
    turn_deg: tuple[float, float] = (0.0, 90.0)
    room_deg: float = 0.0
    y_up: bool = False
    mirrored_room: bool = False
    surface: tuple[float, float, float] = (0.0, 0.0, -45.0)
    backward_origin: bool = False
    pushes_down: bool = False
    corner_order: tuple[int, int, int, int] = (0, 1, 2, 3)
    unit: str = "mm"
    moment_unit: str | None = None
    points_every: int = 5
    first_frame: int = 0
    markers: tuple[str, ...] | None = ("lead_heel", "lead_toe", "trail_heel", "trail_toe")
    labels: dict[str, str] = field(default_factory=dict)
    events: tuple[tuple[str, float], ...] = ()
    body_mass_kg: float | None = None
    feet: np.ndarray = field(default_factory=lambda: FEET)
    steps_at_s: float | None = None  # from then on both feet stand STEP_MM further toward the toes
    idle: str | None = None
    platforms: int = 2


def room(setup: Setup) -> np.ndarray:
    """Axes of the golfer's floor and up, as columns (3, 3) in the recording."""
    right = setup.handed == "right"
    toes = -1.0 if right != setup.mirrored_room else 1.0
    axes = np.array([[1.0, 0.0, 0.0], [0.0, toes, 0.0], [0.0, 0.0, 1.0]]).T
    angle = np.deg2rad(setup.room_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    tip = np.array([[0, 1, 0], [0, 0, 1], [1, 0, 0]]) if setup.y_up else np.eye(3)
    return tip @ turn @ axes


def plate_frame(setup: Setup, axes: np.ndarray, turn_deg: float) -> np.ndarray:
    """A platform's x, y, z as columns (3, 3); z points down."""
    angle = np.deg2rad(turn_deg)
    x = axes[:, 0] * np.cos(angle) + axes[:, 1] * np.sin(angle)
    z = -axes[:, 2]
    return np.stack([x, np.cross(z, x), z], axis=1)


def channels(setup: Setup, load: np.ndarray, local: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Channel values of one platform: load (N,) at `local` (N, 2) mm from the middle of its surface."""
    wave = np.sin(np.arange(load.size) / 30.0)
    force = np.stack([0.06 * load * wave, -0.04 * load * wave, -load])  # with some shear; up is −z
    surface = np.array(setup.surface)
    arm = np.vstack([local.T, np.zeros(load.size)]) + surface[:, None]
    moment = np.cross(arm.T, force.T).T
    if setup.pushes_down:
        force, moment = -force, -moment
    if setup.kind == 1:
        return np.vstack([force, local.T + surface[:2, None], moment[2:]])
    if setup.kind == 3:
        a, b = SENSORS
        spread = np.array([[1, 1, 1, 1], [b, b, -b, -b], [-a, a, a, -a]])
        feet = np.linalg.pinv(spread) @ np.vstack([force[2], moment[:2]])
        return np.vstack([force[0] / 2, force[0] / 2, force[1] / 2, force[1] / 2, feet])
    if setup.kind == 4:
        return np.linalg.solve(matrix, np.vstack([force, moment]))
    return np.vstack([force, moment])


def stepped(setup: Setup, t_s: np.ndarray) -> np.ndarray:
    """Where the feet have been moved."""
    return t_s >= (np.inf if setup.steps_at_s is None else setup.steps_at_s)


def write_c3d(path: Path, rows: pl.DataFrame, setup: Setup) -> Path:
    """Write plate rows (lead_n, trail_n, lead_along_pct, trail_along_pct) as a recording."""
    axes = room(setup)
    sides = ("lead", "trail") if setup.lead_number == 1 else ("trail", "lead")
    rng = np.random.default_rng(5)
    matrices = [
        np.diag([2.0, 2, 4, 900, 900, 500]) @ (np.eye(6) + rng.normal(0, 0.02, (6, 6))) for _ in sides
    ]
    length = {"mm": 1.0, "cm": 10.0, "m": 1000.0}[setup.unit]
    moment = {"Nmm": 1.0, "Ncm": 10.0, "Nm": 1000.0}[setup.moment_unit or "N" + setup.unit]
    corners, values = np.zeros((3, 4, 2)), []
    for k, side in enumerate(sides):
        heel, toe = setup.feet[:2] if side == "lead" else setup.feet[2:]
        cop = heel + rows[f"{side}_along_pct"].to_numpy()[:, None] / 100 * (toe - heel)
        cop += stepped(setup, rows["t_s"].to_numpy())[:, None] * [0.0, STEP_MM]
        load = rows[f"{side}_n"].to_numpy() * (0.0 if setup.idle == side else 1.0)
        frame = plate_frame(setup, axes, setup.turn_deg[k])
        quadrants = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
        centre = axes[:, :2] @ CENTRES[side]
        corners[:, :, k] = (centre + (quadrants * HALF) @ frame[:, :2].T)[list(setup.corner_order)].T
        local = (cop - CENTRES[side]) @ axes[:, :2].T @ frame[:, :2]
        block = channels(setup, load, local, matrices[k])
        if setup.kind == 2:
            block[3:] /= moment
        if setup.kind == 1:
            block[3:5] /= length
        values.append(block)
    return _write(path, rows, setup, axes, corners / length, values, matrices, length, moment)


def write_recording(path: Path, found, setup: Setup | None = None) -> Path:
    """A planted recording of a right-handed player as one of platforms; a foot in the air has its load at 46 %."""
    columns = {
        f"{ours}_{part}": getattr(found, f"{theirs}_{part}")
        for theirs, ours in (("left", "lead"), ("right", "trail"))
        for part in ("n", "along_pct")
    }
    rows = pl.DataFrame({"t_s": found.t_s, **columns}).with_columns(pl.col("^.*_pct$").fill_nan(46.0))
    return write_c3d(path, rows, replace(setup or Setup(), points_every=1))


def read_c3d(path: Path, setup: C3dSetup) -> Recording:
    """A recording of one swing, as the reader of C3D reads it."""
    return read_recording(open_c3d(path), setup, one_swing=True)


def _write(path, rows, setup, axes, corners, values, matrices, length, moment) -> Path:
    recording = ezc3d.c3d()
    rate = 1.0 / float(np.median(np.diff(rows["t_s"].to_numpy())))
    names = {"lead": "L", "trail": "R"} if setup.handed == "right" else {"lead": "R", "trail": "L"}
    wanted = setup.markers or ()
    analogs = np.vstack(values)
    frames = rows.height // setup.points_every
    analogs = analogs[:, : frames * setup.points_every]
    points = np.ones((4, len(wanted), frames))
    for m, name in enumerate(wanted):
        foot = {"lead_heel": 0, "lead_toe": 1, "trail_heel": 2, "trail_toe": 3}[name]
        points[:3, m] = ((axes[:, :2] @ setup.feet[foot] + axes[:, 2] * 30.0) / length)[:, None]
        moved = stepped(setup, rows["t_s"].to_numpy()[:: setup.points_every][:frames])
        points[:3, m] += (axes[:, 1] * STEP_MM / length)[:, None] * moved
    parameters = recording["parameters"]
    parameters["POINT"]["RATE"]["value"] = [rate / setup.points_every]
    parameters["POINT"]["LABELS"]["value"] = tuple(
        setup.labels.get(name, names[name.split("_")[0]] + name.split("_")[1][:3].upper()) for name in wanted
    )
    parameters["POINT"]["UNITS"]["value"] = (setup.unit,)
    parameters["ANALOG"]["RATE"]["value"] = [rate]
    parameters["ANALOG"]["LABELS"]["value"] = tuple(f"ch{k}" for k in range(len(analogs)))
    each = len(values[0])
    moment_name = {1.0: "Nmm", 10.0: "Ncm", 1000.0: "Nm"}[moment]
    units = {1: ["N"] * 3 + [setup.unit] * 2 + [moment_name], 2: ["N"] * 3 + [moment_name] * 3}
    recording.add_parameter(
        "ANALOG", "UNITS", units.get(setup.kind, ["N" if setup.kind == 3 else "V"] * each) * 2
    )
    surface = np.array(setup.surface) / length
    origin = np.array([SENSORS[0] / length, SENSORS[1] / length, surface[2]]) if setup.kind == 3 else surface
    origin = -origin if setup.backward_origin else origin
    for name, value in (
        ("USED", [setup.platforms]),
        ("TYPE", [setup.kind] * 2),
        ("CORNERS", corners),
        ("ORIGIN", np.stack([origin, origin], axis=1)),
        ("CHANNEL", np.arange(1, 2 * each + 1).reshape(2, each).T),
    ):
        parameters["FORCE_PLATFORM"][name]["value"] = np.asarray(value)
    if setup.kind == 4:
        scaled = [np.diag([1, 1, 1, 1 / moment, 1 / moment, 1 / moment]) @ matrix for matrix in matrices]
        parameters["FORCE_PLATFORM"]["CAL_MATRIX"]["value"] = np.stack(scaled, axis=2)
    for label, at in setup.events:
        recording.add_event([int(at // 60), at % 60], label=label)
    if setup.body_mass_kg is not None:
        recording.add_parameter("PROCESSING", "Bodymass", [setup.body_mass_kg])
    recording["data"]["points"] = points
    recording["data"]["analogs"] = analogs[None]
    recording["header"]["points"]["first_frame"] = setup.first_frame
    path.parent.mkdir(parents=True, exist_ok=True)
    recording.write(str(path))
    return path
