"""What a device delivers: samples, noisy, in its own columns and units."""

import numpy as np
import polars as pl

from demo_academy.curves import Array, SwingCurves
from demo_academy.people import Device, Student

N_PER_LBF = 4.4482216152605
N_PER_KGF = 9.80665


def plate_frame(
    curves: SwingCurves, rows: Array, numbers: Array, student: Student, device: Device, rate_hz: float,
    starts_s: Array, rng: np.random.Generator,
) -> pl.DataFrame:  # fmt: skip
    """Samples of the swings `rows` as the device's own table, one row for each sample."""
    count = int(np.ceil(curves.end_s[rows].max() * rate_hz)) + 1
    part = curves.take(rows)
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
