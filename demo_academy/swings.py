"""Swings with planted faults: drawn, measured on their noise-free curves, and drawn again while in doubt."""

from dataclasses import dataclass, fields, replace

import numpy as np

from demo_academy import faults, limits
from demo_academy.course import Array, Course, Curve, Sway
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
        part = _draw(_take(levels, at), _take_fields(bodies, at), _take(wanted, at), rng)
        batch = _put(batch, part, at)
    raise RuntimeError("a fault-free swing stayed near a limit; narrow the dials' ranges")


def _draw(
    levels: dict[str, Array], bodies: Bodies, wanted: dict[str, Array], rng: np.random.Generator
) -> Batch:
    targets = draw_targets(levels, bodies, rng)
    faults.bend(targets, wanted, rng)
    course = build_course(targets, bodies, rng)
    metrics = true_metrics(course)
    return Batch(course, metrics, limits.violations(metrics, ~bodies.heavy_club))


def _take(arrays: dict[str, Array], at: Array) -> dict[str, Array]:
    return {name: values[at] for name, values in arrays.items()}


def _take_fields(bodies: Bodies, at: Array) -> Bodies:
    return replace(bodies, **{f.name: getattr(bodies, f.name)[at] for f in fields(bodies)})


def _put(whole: Batch, part: Batch, at: Array) -> Batch:
    """Put the redrawn swings back in their places."""

    def arrays(one: dict[str, Array], other: dict[str, Array]) -> dict[str, Array]:
        return {name: _into(values, other[name], at) for name, values in one.items()}

    parts = {}
    for f in fields(Course):
        one, other = getattr(whole.course, f.name), getattr(part.course, f.name)
        if isinstance(one, (Curve, Sway)):
            parts[f.name] = type(one)(
                **{g.name: _into(getattr(one, g.name), getattr(other, g.name), at) for g in fields(one)}
            )
        else:
            parts[f.name] = arrays(one, other) if isinstance(one, dict) else _into(one, other, at)
    return Batch(Course(**parts), arrays(whole.metrics, part.metrics), arrays(whole.planted, part.planted))


def _into(values: Array, new: Array, at: Array) -> Array:
    out = values.copy()
    out[at] = new
    return out
