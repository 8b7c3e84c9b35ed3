"""Stands on the plates: quiet ones, and those that end a student's rocking to find their steady place."""

import numpy as np
import polars as pl

from demo_academy.curves import Array
from demo_academy.plates import as_delivered
from demo_academy.season_plan import Visit

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
