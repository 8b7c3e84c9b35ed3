"""Swings with planted faults: drawn, measured on their noise-free curves, and drawn again while in doubt."""

from dataclasses import dataclass

import numpy as np

from demo_academy import faults, limits
from demo_academy.course import Array, Course, rows_of, with_rows
from demo_academy.shapes import Bodies, build_course, draw_targets
from demo_academy.truth import true_metrics

ROUNDS = 12


@dataclass(frozen=True)
class Batch:
    """S swings: their course, true metrics, and all faults past their limits, by consequence too."""

    course: Course
    metrics: dict[str, Array]
    planted: dict[str, Array]


def make_swings(
    levels: dict[str, Array],
    bodies: Bodies,
    wanted: dict[str, Array],
    rng: np.random.Generator,
) -> Batch:
    """Draw S swings about their sessions' `levels` with the `wanted` faults; (S,) arrays throughout.

    A swing still in doubt after some rounds loses its wanted faults, which always ends.

    Raises
        RuntimeError: a fault-free swing stayed near a limit; a dial's range is wrong.
    """
    judged = ~bodies.heavy_club
    wanted = faults.settle({f: hit & (judged | (f in faults.TO_THE_TOP)) for f, hit in wanted.items()})
    batch = _draw(levels, bodies, wanted, rng)
    for turn in range(ROUNDS):
        again = limits.in_doubt(batch.metrics, judged, wanted)
        if not again.any():
            return batch
        if turn >= ROUNDS // 2:
            wanted = {fault: hit & ~again for fault, hit in wanted.items()}
        at = np.flatnonzero(again)
        part = _draw(rows_of(levels, at), rows_of(bodies, at), rows_of(wanted, at), rng)
        batch = with_rows(batch, part, at)
    raise RuntimeError("a fault-free swing stayed near a limit; narrow the dials' ranges")


def _draw(
    levels: dict[str, Array], bodies: Bodies, wanted: dict[str, Array], rng: np.random.Generator
) -> Batch:
    targets = draw_targets(levels, bodies, rng)
    faults.bend(targets, wanted, rng)
    course = build_course(targets, bodies, rng)
    metrics = true_metrics(course)
    return Batch(course, metrics, limits.violations(metrics, ~bodies.heavy_club))
