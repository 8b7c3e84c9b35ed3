"""Stands on a pressure plate in which a person rocks to and fro to find where they stand most steadily.

`along` is each foot's place of pressure, in % of foot length from the heel. In each stand the person rocks between
heels and toes, less and less, and then stands still. Where they stand still is known: over the still part the median
of each foot's `along`, before the plate's noise, is the stand's steady place. A stand's steady places scatter about the
person's own. Some worlds have none: nobody may then be given a target.
"""

from dataclasses import dataclass

import numpy as np

GRAVITY = 9.80665
ROCK_HZ = 0.6
STILL_SWAY_PCT = 0.5  # standard deviation of the sway while standing still, about 1.3 mm of a foot


@dataclass(frozen=True)
class RockingStand:
    """One stand. `along` is NaN where the foot carries under 2 % of body weight.

    The last four are the truth: from when to when the person stands still, and where; None if they never do.
    """

    t_s: np.ndarray
    lead_n: np.ndarray
    trail_n: np.ndarray
    lead_along_pct: np.ndarray
    trail_along_pct: np.ndarray
    still_from_s: float | None
    still_to_s: float | None
    steady_lead_along_pct: float | None
    steady_trail_along_pct: float | None


@dataclass(frozen=True)
class RockingPerson:
    """All stands of one person, and their own steady place of each foot; None where there is none to be found."""

    stands: tuple[RockingStand, ...]
    lead_along_pct: float | None
    trail_along_pct: float | None
    body_mass_kg: float


@dataclass(frozen=True)
class World:
    """Places and rocks in % of foot length."""

    description: str
    lead: float = 48
    trail: float = 52
    other_places: tuple[float, ...] = ()  # how far off the n-th stand settles, both feet
    stand_sd: float = 1.0
    rock: float = 20  # the first rock, to each side
    lopsided: float = 0  # how much further the rocks go to the toes than to the heels
    fades: bool = True
    pauses_s: float = 0  # how long each rock stops at its end
    drift_pct_per_s: float = 0
    lifts_lead_foot: bool = False
    still_s: float = 4.0
    along_noise: float = 0.3
    has_place: bool = True
    stands: int = 6


WORLDS: dict[str, World] = {
    "settles": World("Rocks that fade about the steady place, then 4 s of standing still there."),
    "feet_differ": World("The lead foot is steady nearer the heel than the trail foot, by 14 %.", lead=42, trail=56),
    "on_the_heels": World("A steady place that common practice would call too far back.", lead=34, trail=36),
    "lopsided_rocks": World(
        "The rocks go much further to the toes than to the heels: the mean of the whole stand is not the place.",
        lopsided=1.5),
    "one_stand_off": World(
        "One of six stands settles 18 % nearer the toes. The median of the stands hardly moves, the mean does.",
        other_places=(0, 0, 18)),
    "pauses_at_the_ends": World(
        "Each rock stops for 0.5 s at its end, as still as a stand but not at its place, and not for long.",
        pauses_s=0.5),
    "lifts_a_foot": World("Between rocking and standing still the lead foot is off the plate.", lifts_lead_foot=True),
    "noisy_plate": World("The plate's own noise is four times the usual.", along_noise=1.2),
    "still_all_along": World("No rocking at all: standing still from the start.", rock=0),
    "short_still": World("Stands still for 1.5 s only.", still_s=1.5),
    "one_stand": World("A single stand: a place, but nothing that says how sure it is.", stands=1),
    "scattered": World("The stands settle all over the place, 6 % apart on either side: a place with much doubt.", stand_sd=6),
    "never_settles": World("Rocks on and on, never less.", fades=False, has_place=False),
    "drifts": World(
        "After rocking, 4 s of slow drift to the toes, 4 % a second: smooth, but not still.",
        drift_pct_per_s=4, has_place=False),
    "two_places": World(
        "Half of the stands settle 12 % nearer the heels, half 12 % nearer the toes. Each stand has its steady "
        "place, the person has none, and least of all midway.",
        other_places=(-12, 12) * 3, has_place=False),
}  # fmt: skip


def _sway(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Slow sway of a standing person, of standard deviation about 1."""
    return sum(np.sin(2 * np.pi * (rng.uniform(*hz) * t + rng.random())) for hz in ((0.3, 0.5), (0.5, 0.8), (0.8, 1.2))) / np.sqrt(1.5)  # fmt: skip


def _rocks(world: World, rocks: int, rate_hz: float) -> np.ndarray:
    """To the toes (positive) and to the heels by turns, with a pause at each end if there is one; starts and ends at 0."""
    quarter = np.sin(np.pi / 2 * np.arange(round(rate_hz / ROCK_HZ / 4)) * ROCK_HZ * 4 / rate_hz)
    half = np.concatenate([quarter, np.ones(1 + round(world.pauses_s * rate_hz)), quarter[:0:-1]])
    parts = []
    for n in range(2 * rocks):
        size = world.rock * ((1 - n / (2 * rocks)) if world.fades else 1)
        parts.append(half * (size * (1 + world.lopsided) if n % 2 == 0 else -size))
    return np.concatenate(parts)


def _stand(
    world: World, place: tuple[float, float], weight_n: float, rate_hz: float, rng: np.random.Generator
) -> RockingStand:
    rocking = _rocks(world, int(rng.integers(4, 7)), rate_hz)
    if not world.rock:
        rocking = rocking[:0]
    lifted = np.zeros(round(rate_hz) if world.lifts_lead_foot else 0)
    still = world.drift_pct_per_s * np.arange(round(world.still_s * rate_hz)) / rate_hz
    if not world.fades:
        still = still[:0]
    move = np.concatenate([rocking, lifted, still])
    t = np.arange(len(move)) / rate_hz
    is_still = np.arange(len(t)) >= len(rocking) + len(lifted)

    sway = STILL_SWAY_PCT * _sway(t, rng)
    sway -= np.median(sway[is_still]) if is_still.any() else 0
    share = 0.5 + 0.02 * _sway(t, rng)
    off = (np.arange(len(t)) >= len(rocking)) & ~is_still
    share[off] = 0.005
    loads, alongs = [], []
    for part, at in zip((share, 1 - share), place, strict=True):
        load = np.maximum(part * weight_n + rng.normal(0, 2, len(t)), 0)
        along = np.clip(at + move + sway, 3, 97) + rng.normal(0, world.along_noise, len(t))
        loads.append(load)
        alongs.append(np.where(load < 0.02 * weight_n, np.nan, along))
    settled = bool(is_still.any()) and not world.drift_pct_per_s
    return RockingStand(
        t, *loads, *alongs,
        still_from_s=float(t[is_still][0]) if settled else None,
        still_to_s=float(t[-1]) if settled else None,
        steady_lead_along_pct=place[0] if settled else None,
        steady_trail_along_pct=place[1] if settled else None,
    )  # fmt: skip


def rocking_person(
    name: str, *, stands: int | None = None, rate_hz: float = 100.0, seed: int
) -> RockingPerson:
    """A person of this world; the number of stands defaults to the world's own."""
    world = WORLDS[name]
    rng = np.random.default_rng(seed)
    mass = float(rng.uniform(45, 110))
    lead, trail = (place + float(rng.uniform(-2, 2)) for place in (world.lead, world.trail))
    made = []
    for n in range(stands or world.stands):
        shift = float(rng.normal(0, world.stand_sd))
        shift += world.other_places[n] if n < len(world.other_places) else 0
        made.append(_stand(world, (lead + shift, trail + shift), mass * GRAVITY, rate_hz, rng))
    return RockingPerson(
        tuple(made), lead if world.has_place else None, trail if world.has_place else None, mass
    )
