"""Steadiness holds: a quiet stand on the plates, eyes open and closed."""

import numpy as np
import polars as pl

from demo_academy.course import Array
from demo_academy.plates import as_delivered
from demo_academy.season import Visit

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


def _hold(visit: Visit, no: int, size: float, rng: np.random.Generator) -> pl.DataFrame:
    student = visit.student
    count = round(SECONDS * visit.rate_hz)
    time = np.arange(count) / visit.rate_hz
    share = 50 + size * _wander(time, 0.5, rng)
    lead, trail = (48 + size * _wander(time, 0.9, rng) for _ in range(2))
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
    """Slow sway: seven waves from 0.1 to 1.2 Hz, the slower the larger; standard deviation `size`."""
    hertz = rng.uniform([0.1, 0.15, 0.25, 0.35, 0.5, 0.8, 1.0], [0.15, 0.25, 0.35, 0.5, 0.8, 1.0, 1.2])
    weight = 1 / hertz**0.7
    waves = weight[:, None] * np.sin(2 * np.pi * hertz[:, None] * time + rng.uniform(0, 6.283, (7, 1)))
    return size * waves.sum(axis=0) / np.sqrt((weight**2).sum() / 2)
