"""A student's season of swings: generated, measured on noise-free curves, generated again while in doubt."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from demo_academy import faults, verdicts
from demo_academy.curves import Array, SwingCurves, replace_rows, take_rows
from demo_academy.faults import PLATE_FAULTS
from demo_academy.habits import BROUGHT_ON, CHAIN, DRILL_BY_CODE, HABIT_BY_NAME, HABITS, PACE_STRETCH
from demo_academy.season_plan import PlannedSwing, Visit
from demo_academy.shapes import Bodies, build_curves, generate_targets
from demo_academy.truth import true_metrics

ROUNDS = 12


@dataclass(frozen=True)
class Batch:
    """S swings: their curves, true metrics, and every fault past its limit, side effects included."""

    curves: SwingCurves
    metrics: dict[str, Array]
    planted: dict[str, Array]


def generate_swings(
    levels: dict[str, Array], bodies: Bodies, wanted: dict[str, Array], rng: np.random.Generator
) -> Batch:
    """Generate S swings about their sessions' `levels` with the `wanted` faults; (S,) arrays throughout.

    A swing still in doubt after some rounds loses its wanted faults, and its levels are drawn in toward the
    middle of their habits, so this ends whatever the seed.

    Raises
        RuntimeError: a swing at the very middle of its habits stayed near a limit; a habit's range is wrong.
    """
    short = ~bodies.heavy_club
    wanted = faults.keep_compatible(
        {f: hit & (short | (f not in faults.SHORT_CLUBS_ONLY)) for f, hit in wanted.items()}
    )
    batch = _generate(levels, bodies, wanted, rng)
    for turn in range(ROUNDS):
        again = verdicts.in_doubt(batch.metrics, short, wanted)
        if not again.any():
            return batch
        if turn >= ROUNDS // 2:
            wanted = {fault: hit & ~again for fault, hit in wanted.items()}
            levels = {
                name: np.where(again, _toward_middle(name, level), level) for name, level in levels.items()
            }
        at = np.flatnonzero(again)
        part = _generate(take_rows(levels, at), take_rows(bodies, at), take_rows(wanted, at), rng)
        batch = replace_rows(batch, part, at)
    raise RuntimeError("a swing without faults stayed near a limit; narrow the habits' ranges")


def _toward_middle(habit: str, level: Array) -> Array:
    middle = HABIT_BY_NAME[habit].mean
    return np.asarray(middle + 0.6 * (level - middle))


def _generate(
    levels: dict[str, Array], bodies: Bodies, wanted: dict[str, Array], rng: np.random.Generator
) -> Batch:
    targets = generate_targets(levels, bodies, rng)
    faults.bend(targets, wanted, rng)
    curves = build_curves(targets, bodies, rng)
    metrics = true_metrics(curves)
    return Batch(curves, metrics, verdicts.violations(metrics, ~bodies.heavy_club))


G = 9.80665


def generate_season(visits: list[Visit], rng: np.random.Generator) -> tuple[Batch, list[Array]]:
    """All swings of one student's measured visits, and the batch rows of each visit."""
    pairs = [(visit, row) for visit in visits for row in visit.swings]
    levels = {habit.name: np.array([_level(v, r, habit.name) for v, r in pairs]) for habit in HABITS}
    odds = {fault: np.array([_odds(v, r, fault) for v, r in pairs]) for fault in PLATE_FAULTS}
    lots = {fault: rng.random(len(pairs)) for fault in PLATE_FAULTS}
    wanted = {fault: lots[fault] < odds[fault] for fault in PLATE_FAULTS}
    if visits[0].chained:
        cause, effect = CHAIN
        wanted[effect] = lots[effect] < brought_on(odds[effect], odds[cause], wanted[cause])
    student = visits[0].student
    even = np.ones(len(pairs))
    bodies = Bodies(
        weight_n=np.array([v.student.mass_kg * G * (1 + 0.008 * np.sin(v.day / 40)) for v, _ in pairs]),
        foot_mm=even * student.foot_mm,
        stance_mm=even * student.stance_mm,
        stretch=np.array([PACE_STRETCH[r.pace] for _, r in pairs]),
        heels_measured=np.array([float(v.device.heels) for v, _ in pairs]),
        along_offset=np.array([v.along_offset for v, _ in pairs]),
        heavy_club=np.array([r.family not in {"iron", "wedge"} for _, r in pairs]),
    )
    batch = generate_swings(levels, bodies, wanted, rng)
    edges = np.cumsum([0] + [len(v.swings) for v in visits])
    return batch, [np.arange(a, b) for a, b in pairwise(edges)]


def brought_on(effect: Array, cause: Array, caused: Array) -> Array:
    """(S,) chance of a fault that another brings on, as often over all swings as its own chance says.

    It is BROUGHT_ON times as likely in swings with the cause, at most 0.9.
    """
    without = effect / (1 + cause * (BROUGHT_ON - 1))
    with_it = np.minimum(BROUGHT_ON * without, 0.9)
    return np.where(caused, with_it, without)


def _level(visit: Visit, row: PlannedSwing, habit: str) -> float:
    """The day's level, with the drill's change on the day for swings after it."""
    drill = DRILL_BY_CODE.get(row.drill) if row.drill else None
    return visit.levels[habit] + (drill.same_day if drill and drill.habit == habit else 0.0)


def _odds(visit: Visit, row: PlannedSwing, fault: str) -> float:
    """The day's fault probability, with the drill's change on the day for swings after it."""
    drill = DRILL_BY_CODE.get(row.drill) if row.drill else None
    odds = visit.fault_chances[fault]
    if drill is None or drill.aim != fault or odds == 0:
        return odds
    return float(1 / (1 + (1 - odds) / odds * np.exp(-drill.same_day)))
