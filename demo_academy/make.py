"""From a plan to swings: a student's whole season drawn at once."""

from itertools import pairwise

import numpy as np

from demo_academy.course import Array
from demo_academy.dials import DIALS, PACE_STRETCH
from demo_academy.drills import DRILL
from demo_academy.faults import PLATE_FAULTS
from demo_academy.season import Row, Visit
from demo_academy.shapes import Bodies
from demo_academy.swings import Batch, make_swings

G = 9.80665


def draw_season(visits: list[Visit], rng: np.random.Generator) -> tuple[Batch, list[Array]]:
    """All swings of one student's measured visits, and the batch rows of each visit."""
    pairs = [(visit, row) for visit in visits for row in visit.rows]
    levels = {dial.name: np.array([_level(v, r, dial.name) for v, r in pairs]) for dial in DIALS}
    wanted = {
        fault: rng.random(len(pairs)) < np.array([_odds(v, r, fault) for v, r in pairs])
        for fault in PLATE_FAULTS
    }
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
    batch = make_swings(levels, bodies, wanted, rng)
    edges = np.cumsum([0] + [len(v.rows) for v in visits])
    return batch, [np.arange(a, b) for a, b in pairwise(edges)]


def _level(visit: Visit, row: Row, dial: str) -> float:
    """The day's level, with the drill's change on the day for swings after it."""
    drill = DRILL.get(row.drill) if row.drill else None
    return visit.levels[dial] + (drill.same_day if drill and drill.dial == dial else 0.0)


def _odds(visit: Visit, row: Row, fault: str) -> float:
    """The day's fault probability, with the drill's change on the day for swings after it."""
    drill = DRILL.get(row.drill) if row.drill else None
    odds = visit.odds[fault]
    if drill is None or drill.aim != fault or odds == 0:
        return odds
    return float(1 / (1 + (1 - odds) / odds * np.exp(-drill.same_day)))
