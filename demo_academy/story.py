"""What is planted in each student: where every dial starts, how it moves, and which faults they tend to."""

from dataclasses import dataclass

import numpy as np

from demo_academy.course import Array
from demo_academy.dials import DIALS, Dial
from demo_academy.faults import PLATE_FAULTS
from demo_academy.scenario import COACHES, SEASON, Student

DAYS = (SEASON[2] - SEASON[1]).days
SEES_SWAY = ("mat-east", "plates-south")
BACKGROUND = 0.004
GAINED = ("finish", "recentre", "mid_back_trail", "mid_down")
"""The dials on which a coach's planted gain works."""


@dataclass(frozen=True)
class Line:
    """One dial of one student: start, straight change over the season, and a wander (value a day)."""

    kind: str
    start: float
    change: float
    wander: Array

    def at(self, day: int) -> float:
        """The student's own level on a day of the season, before drills, coach and noise."""
        return self.start + self.change * day / DAYS + float(self.wander[min(max(day, 0), DAYS)])


@dataclass(frozen=True)
class Tendency:
    """How often a student shows a fault: probability at the season's start and end."""

    kind: str
    first: float
    last: float

    def logit(self, day: int) -> float:
        """Log odds on a day, straight between the ends."""
        ends = [np.log(p / (1 - p)) for p in (self.first, self.last)]
        return float(ends[0] + (ends[1] - ends[0]) * np.clip(day / DAYS, 0, 1))


@dataclass(frozen=True)
class Story:
    """Everything planted in one student."""

    lines: dict[str, Line]
    tendencies: dict[str, Tendency]


def tell(student: Student, number: int, rng: np.random.Generator) -> Story:
    """Invent the story of student `number` (0…)."""
    lines = {dial.name: _line(dial, rng) for dial in DIALS}
    if student.lean == "reverse":
        lines["gain"] = Line("holding", -16.0, 0.0, np.zeros(DAYS + 1))
        lines["mid_down"] = Line("holding", 74.0, 0.0, np.zeros(DAYS + 1))
    return Story(lines, _tendencies(student, number, rng))


def coach_gain_per_day(coach: str, dial: Dial) -> float:
    """Planted gain a day of the coach's students in a dial: gain · the dial's day-to-day spread / 90."""
    gain = next(c.gain for c in COACHES if c.code == coach)
    return gain * dial.day / 90 if dial.name in GAINED else 0.0


def _line(dial: Dial, rng: np.random.Generator) -> Line:
    kind = str(rng.choice(["rising", "falling", "holding", "wandering"], p=[0.27, 0.13, 0.45, 0.15]))
    size = dial.trend * rng.uniform(0.7, 1.3)
    if dial.trend == 0 and kind in {"rising", "falling"}:
        kind = "holding"
    change = {"rising": size, "falling": -0.8 * size}.get(kind, 0.0)
    room = 2.2 * dial.swing + 1.5 * dial.day
    start = rng.normal(dial.mean - change / 2, dial.between)
    start = float(np.clip(start, dial.lo + room - min(change, 0), dial.hi - room - max(change, 0)))
    wander = np.zeros(DAYS + 1)
    if kind == "wandering":
        steps = rng.normal(0, 1.3 * dial.between / np.sqrt(DAYS), DAYS)
        wander = np.concatenate([[0.0], np.cumsum(steps)])
    return Line(kind, start, change, wander)


def _tendencies(student: Student, number: int, rng: np.random.Generator) -> dict[str, Tendency]:
    """Two faults in turn, so that all are covered, and often a third."""
    picks = [PLATE_FAULTS[(2 * number) % 17], PLATE_FAULTS[(2 * number + 1) % 17]]
    if rng.random() < 0.55:
        common = rng.random() < 0.5
        picks.append(str(rng.choice(["late_crossing", "trail_heel_sink"] if common else PLATE_FAULTS)))
    out: dict[str, Tendency] = {}
    for pick in picks:
        fault = "rocking_start" if pick == "unsteady_at_address" and student.bay not in SEES_SWAY else pick
        if fault == "target_drift" and student.lean == "reverse":
            continue
        kind = str(rng.choice(["falling", "rising", "holding"], p=[0.45, 0.15, 0.40]))
        high, low = rng.uniform(0.45, 0.75), rng.uniform(0.04, 0.12)
        held = rng.uniform(0.15, 0.45)
        first, last = {"falling": (high, low), "rising": (low, high), "holding": (held, held)}[kind]
        out[fault] = Tendency(kind, float(first), float(last))
    return out
