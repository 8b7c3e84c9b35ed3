"""What a device delivers: samples of swings and stands, noisy, in its own columns and units."""

import numpy as np
import polars as pl

from demo_academy.curves import Array, SwingCurves, take_rows
from demo_academy.people import Device, Student
from demo_academy.season_plan import Visit

N_PER_LBF = 4.4482216152605
N_PER_KGF = 9.80665


def plate_frame(
    curves: SwingCurves, rows: Array, numbers: Array, student: Student, device: Device, rate_hz: float,
    starts_s: Array, rng: np.random.Generator,
) -> pl.DataFrame:  # fmt: skip
    """Samples of the swings `rows` as the device's own table, one row for each sample."""
    count = int(np.ceil(curves.end_s[rows].max() * rate_hz)) + 1
    part = take_rows(curves, rows)
    signals = part.signals(1 / rate_hz, count)
    time = np.arange(count) / rate_hz
    keep = time[None, :] <= part.end_s[:, None]
    flat = {name: values[keep] for name, values in signals.items()}
    weight = np.broadcast_to(part.weight_n[:, None], keep.shape)[keep]
    sizes = keep.sum(axis=1)
    clock = np.broadcast_to(time[None, :], keep.shape)[keep] + np.repeat(starts_s, sizes)
    return as_delivered(flat, weight, np.repeat(numbers, sizes).astype(np.int32), clock, device, student, rng)


def as_delivered(
    flat: dict[str, Array], weight: Array, numbers: Array, clock: Array, device: Device, student: Student,
    rng: np.random.Generator,
) -> pl.DataFrame:  # fmt: skip
    """Noise-free samples (N,) with the device's noise, in its own columns and units."""
    base = {"swing_no": numbers, "t_s": clock}
    return LAYOUTS[device.layout](base | _sense(flat, weight, device, rng), student)


def _sense(
    flat: dict[str, Array], weight: Array, device: Device, rng: np.random.Generator
) -> dict[str, Array]:
    """Loads, positions and heel loads with the device's noise, each (N,)."""
    total = weight * flat["total"] / 100
    out: dict[str, Array] = {}
    count = len(total)
    for foot, share in (("lead", flat["share"] / 100), ("trail", 1 - flat["share"] / 100)):
        load = total * share
        noisy = load + rng.normal(0, device.load_noise_n, count)
        out[f"{foot}_n"] = noisy
        spread = device.along_noise_pct * np.clip(0.4 * weight / np.maximum(load, 1.0), 0.7, 3.0)
        out[f"{foot}_along_pct"] = np.clip(flat[f"{foot}_along"] + rng.normal(0, 1, count) * spread, -6, 106)
        if device.heels:
            heel = load * flat[f"{foot}_heel_share"] + rng.normal(0, device.load_noise_n, count)
            out[f"{foot}_heel_n"] = np.clip(heel, 0, noisy + 5)
    if device.layout == "mat":
        out["cop_x_mm"] = flat["cop_x_mm"] + rng.normal(0, 0.5, count)
        out["cop_y_mm"] = flat["cop_y_mm"] + rng.normal(0, 0.5, count)
    if device.layout == "parquet":
        for foot in ("lead", "trail"):
            out[f"{foot}_across_mm"] = rng.normal(0, 0.4, count)
    return out


def _sides(student: Student) -> tuple[str, str]:
    """The lead and the trail foot's side: a right-handed golfer's lead foot is the left."""
    return ("left", "right") if student.handed == "right" else ("right", "left")


def _mat(s: dict[str, Array], _student: Student) -> pl.DataFrame:
    return pl.DataFrame(
        {"swing_no": s["swing_no"], "t_s": np.round(s["t_s"], 4)}
        | {name: np.round(s[name], 1) for name in ("lead_n", "trail_n")}
        | {name: np.round(s[name], 2) for name in ("lead_along_pct", "trail_along_pct")}
        | {name: np.round(s[name], 1) for name in ("cop_x_mm", "cop_y_mm")}
    )


def _imperial(s: dict[str, Array], student: Student) -> pl.DataFrame:
    inch = student.foot_mm / 100 / 25.4
    out = {"Rep": s["swing_no"], "Clock": np.rint(s["t_s"] * 1000).astype(np.int64)}
    for foot, side in zip(("lead", "trail"), _sides(student), strict=True):
        letter = side[0].upper()
        out[f"{letter} Force"] = np.round(s[f"{foot}_n"] / N_PER_LBF, 2)
        out[f"{letter} Pos"] = np.round(s[f"{foot}_along_pct"] * inch, 3)
    return pl.DataFrame(out).select("Rep", "Clock", "L Force", "R Force", "L Pos", "R Pos")


def _insoles(s: dict[str, Array], student: Student) -> pl.DataFrame:
    out = {"swing_no": s["swing_no"], "t_s": np.round(s["t_s"], 4)}
    for foot, side in zip(("lead", "trail"), _sides(student), strict=True):
        out[f"{side}_n"] = np.round(s[f"{foot}_n"], 1)
        out[f"{side}_along_pct"] = np.round(s[f"{foot}_along_pct"], 2)
        out[f"{side}_heel_n"] = np.round(s[f"{foot}_heel_n"], 1)
    return pl.DataFrame(out)


def _metric(s: dict[str, Array], student: Student) -> pl.DataFrame:
    out = {"swing_no": s["swing_no"], "t_s": np.round(s["t_s"], 4)}
    for foot, side in zip(("lead", "trail"), _sides(student), strict=True):
        out[f"load_{side}"] = np.round(s[f"{foot}_n"] / N_PER_KGF, 2)
        out[f"pos_{side}"] = np.round(s[f"{foot}_along_pct"] * student.foot_mm / 1000, 2)
    return pl.DataFrame(out)


def _parquet(s: dict[str, Array], _student: Student) -> pl.DataFrame:
    names = ("lead_n", "trail_n", "lead_along_pct", "trail_along_pct", "lead_across_mm", "trail_across_mm")
    floats = {name: s[name].astype(np.float32) for name in names}
    return pl.DataFrame({"swing_no": s["swing_no"], "t_s": np.round(s["t_s"], 4)} | floats)


LAYOUTS = {"mat": _mat, "imperial": _imperial, "insoles": _insoles, "metric": _metric, "parquet": _parquet}


SECONDS = 22.0
HOLDS = ((91, "open", 1.0), (92, "closed", 1.8))
"""Number, eyes, and how much larger the sway is than with open eyes."""


def holds_frame(visit: Visit, rng: np.random.Generator) -> tuple[str, pl.DataFrame]:
    """The `[[hold]]` tables of a visit and their samples in the device's own columns."""
    text, frames = "", []
    for no, eyes, size in HOLDS:
        text += f'\n[[hold]]\nno = {no}\neyes = "{eyes}"\nfrom_s = 0.5\nto_s = {SECONDS - 0.5}\n'
        frames.append(_hold(visit, no, size, rng))
    return text, pl.concat(frames)


ROCKING_VISITS, STANDS = (1, 3), 3
ROCK_HZ, STILL_S = 0.6, 4.0
STEADY = {1: (41.0, 43.0), 4: (54.0, 56.0), 7: None}
"""Of twelve students: where along each foot one stands most steadily; None: never at the same place."""


def steady_place(number: int) -> tuple[float, float] | None:
    """Where student `number` stands most steadily, lead and trail foot; None: at no one place, or unknown."""
    return STEADY.get(number % 12)


def rocks(number: int, order: int) -> bool:
    """Whether student `number` rocks to find the steady place in this visit, counted from 0."""
    return number % 12 in STEADY and order in ROCKING_VISITS


def rocking_frame(visit: Visit, number: int, rng: np.random.Generator) -> tuple[str, pl.DataFrame]:
    """The rocking `[[hold]]` tables of a visit and their samples."""
    text, frames = "", []
    for k in range(STANDS):
        no = 95 + k
        text += f'\n[[hold]]\nno = {no}\neyes = "open"\nrocking = true\n'
        lead, trail = steady_place(number) or ((38.0, 40.0) if k % 2 else (62.0, 64.0))
        shift = float(rng.normal(0, 1.0))
        time, move = _rocking(visit.rate_hz, rng)
        sway = (shift + move + _wander(time, 0.4, rng) for _ in range(2))
        feet = tuple(np.clip(at + part, 3, 97) for at, part in zip((lead, trail), sway, strict=True))
        frames.append(_samples(visit, no, time, 50 + _wander(time, 0.5, rng), feet, rng))
    return text, pl.concat(frames)


def _rocking(rate_hz: float, rng: np.random.Generator) -> tuple[Array, Array]:
    """Times, and moves along the feet: some rocks to toes and heels that fade away, then standing still."""
    turns = 2 * int(rng.integers(4, 7))
    half = np.sin(np.pi * np.arange(round(rate_hz / ROCK_HZ / 2)) * 2 * ROCK_HZ / rate_hz)
    sizes = [(-1) ** turn * 20 * (1 - turn / turns) for turn in range(turns)]
    move = np.concatenate([*(size * half for size in sizes), np.zeros(round(STILL_S * rate_hz))])
    return np.arange(len(move)) / rate_hz, move


def _hold(visit: Visit, no: int, size: float, rng: np.random.Generator) -> pl.DataFrame:
    count = round(SECONDS * visit.rate_hz)
    time = np.arange(count) / visit.rate_hz
    share = 50 + size * _wander(time, 0.5, rng)
    lead, trail = (48 + size * _wander(time, 0.9, rng) for _ in range(2))
    return _samples(visit, no, time, share, (lead, trail), rng)


def _samples(
    visit: Visit, no: int, time: Array, share: Array, feet: tuple[Array, ...], rng: np.random.Generator
) -> pl.DataFrame:
    """Samples of a standing student: lead share, and the place along the lead and the trail foot, % each."""
    student, (lead, trail), count = visit.student, feet, len(time)
    part = share / 100
    along = part * lead + (1 - part) * trail
    flat = {
        "share": share,
        "total": np.full(count, 100.0),
        "lead_along": lead,
        "trail_along": trail,
        "cop_x_mm": student.stance_mm / 2 * (2 * part - 1),
        "cop_y_mm": along / 100 * student.foot_mm,
    }
    for foot, values in (("lead", lead), ("trail", trail)):
        flat[f"{foot}_heel_share"] = np.clip((70 - values) / 55, 0, 1)
    weight = np.full(count, student.mass_kg * 9.80665)
    return as_delivered(flat, weight, np.full(count, no, dtype=np.int32), time, visit.device, student, rng)


def _wander(time: Array, size: float, rng: np.random.Generator) -> Array:
    """Slow sway: seven waves from 0.1 to 1.2 Hz, the slower, the larger; standard deviation `size`."""
    hertz = rng.uniform([0.1, 0.15, 0.25, 0.35, 0.5, 0.8, 1.0], [0.15, 0.25, 0.35, 0.5, 0.8, 1.0, 1.2])
    weight = 1 / hertz**0.7
    waves = weight[:, None] * np.sin(2 * np.pi * hertz[:, None] * time + rng.uniform(0, 6.283, (7, 1)))
    return size * waves.sum(axis=0) / np.sqrt((weight**2).sum() / 2)
