"""What is planted in a student: habits, how each moves over the season, fault tendencies, and the drills."""

from dataclasses import dataclass

import numpy as np

from demo_academy.curves import Array
from demo_academy.faults import PLATE_FAULTS
from demo_academy.people import COACHES, SEASON, Student
from warehouse.founding import starter_drills


@dataclass(frozen=True)
class Habit:
    """One habit of a swing. Spreads are standard deviations in its own unit; `lo`, `hi` avoid every limit.

    `metric` is the swing metric the habit sets; `trend` the size of a planted change over the season
    (0: it holds steady in everyone), positive toward better.
    """

    name: str
    metric: str
    mean: float
    between: float
    day: float
    swing: float
    lo: float
    hi: float
    trend: float = 0.0


HABITS: tuple[Habit, ...] = (
    Habit("address_share", "address_lead_share_pct", 50.0, 1.3, 0.5, 0.6, 46.0, 54.0),
    Habit("lead_along", "address_lead_along_pct", 50.5, 2.0, 0.7, 0.8, 44.5, 56.5),
    Habit("trail_along", "address_trail_along_pct", 51.0, 2.2, 0.7, 0.8, 44.5, 57.5),
    Habit("mid_back_trail", "mid_back_trail_share_pct", 69.5, 1.7, 0.8, 1.0, 64.5, 75.0, 2.5),
    Habit("load_on", "trail_peak_share_pct", 3.5, 0.5, 0.3, 0.4, 2.4, 6.0),
    Habit("recentre", "recentre_pts", 9.5, 1.8, 0.7, 1.0, 5.8, 18.0, 4.0),
    Habit("lead_lightens", "lead_heel_lightens_pts", 23.0, 1.8, 0.9, 1.1, 17.0, 30.0),
    Habit("trail_sink", "trail_heel_sink_pct", 5.0, 1.3, 0.6, 0.8, 1.0, 10.0),
    Habit("crossing", "crossing_before_impact_s", 0.150, 0.014, 0.005, 0.006, 0.112, 0.205),
    Habit("mid_down", "mid_down_lead_share_pct", 68.5, 1.8, 0.9, 1.0, 62.5, 77.0, 2.5),
    Habit("gain", "impact_gain_pts", 5.0, 1.0, 0.4, 0.6, 1.5, 9.0),
    Habit("finish", "finish_lead_share_pct", 88.0, 2.4, 0.9, 1.1, 78.0, 97.0, 4.5),
    Habit("backswing", "backswing_s", 0.80, 0.05, 0.010, 0.014, 0.62, 1.05),
    Habit("downswing", "downswing_s", 0.267, 0.016, 0.0045, 0.0053, 0.215, 0.340, 0.031),
    Habit("surge", "peak_vertical_pct_bw", 140.0, 9.0, 1.8, 2.2, 116.0, 180.0),
)
HABIT_BY_NAME = {habit.name: habit for habit in HABITS}
PACE_STRETCH = {"full": 1.0, "half": 1.3, "slow": 1.8}


@dataclass(frozen=True)
class Drill:
    """One drill and what is planted in it.

    `kept` is the lasting gain of the first dose in the habit's own unit, `more` that of each later one,
    `same_day` the change on the day. For a fault as the aim, `kept` is the change of the fault's log odds.
    """

    code: str
    name: str
    aim: str
    min_age: int | None
    habit: str | None
    kept: float
    more: float
    same_day: float


# Habit, lasting gain of the first dose, of each later one, change on the day: of each of the starter drills.
_EFFECTS: dict[str, tuple[str | None, float, float, float]] = {
    "d01": ("finish", 3.0, 0.3, 4.0),
    "d02": ("recentre", 2.6, 0.2, 3.2),
    "d03": ("mid_down", 0.0, 0.0, 0.0),
    "d04": ("mid_back_trail", 0.0, 0.0, 2.5),
    "d05": ("backswing", 0.0, 0.0, 0.02),
    "d06": (None, -1.2, -0.1, -0.6),
    "d07": (None, 0.0, 0.0, -0.3),
    "d08": (None, -0.3, 0.0, 0.0),
    "d09": ("lead_lightens", 0.0, 0.0, 1.2),
}
DRILLS = tuple(
    Drill(drill.code, drill.name, str(drill.aim), drill.min_age, *_EFFECTS[drill.code])
    for drill in starter_drills()
)
DRILL_BY_CODE = {drill.code: drill for drill in DRILLS}


DRAWN_BETWEEN = ("d01", "d02")
"""The academy's question: whoever would be given one of these is given the one that is drawn."""

DAYS = (SEASON[2] - SEASON[1]).days
MEASURES_SWAY = ("mat-east", "plates-south")
BACKGROUND = 0.004
PICKED = tuple(fault for fault in PLATE_FAULTS if fault != "late_back")
"""What a student may tend to; who comes back late is who does not re-centre."""
CHAIN = ("trail_heel_sink", "late_crossing")
"""In some students the first brings on the second, within the swing."""
CHAINED, BROUGHT_ON = 8, 4.0  # one student in so many; the second so many times as often with the first
COACHED_HABITS = ("finish", "recentre", "mid_back_trail", "mid_down")
"""The habits that a coach's planted gain changes."""


@dataclass(frozen=True)
class HabitLine:
    """One habit of one student: start, linear change over the season, random walk (a value each day)."""

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
        """Log odds on a day, linear between the ends."""
        ends = [np.log(p / (1 - p)) for p in (self.first, self.last)]
        return float(ends[0] + (ends[1] - ends[0]) * np.clip(day / DAYS, 0, 1))


@dataclass(frozen=True)
class Profile:
    """Everything planted in one student."""

    lines: dict[str, HabitLine]
    tendencies: dict[str, Tendency]
    chained: bool = False  # CHAIN is planted


def invent_profile(student: Student, number: int, rng: np.random.Generator) -> Profile:
    """Invent what is planted in student `number`, from 0."""
    lines = {habit.name: _line(habit, rng) for habit in HABITS}
    if student.style == "falls_back":
        lines["gain"] = HabitLine("holding", -16.0, 0.0, np.zeros(DAYS + 1))
        lines["mid_down"] = HabitLine("holding", 74.0, 0.0, np.zeros(DAYS + 1))
    tendencies, chained = _tendencies(student, number, rng), number % CHAINED == CHAINED - 3
    if chained:
        tendencies |= {fault: Tendency("holding", 0.4, 0.4) for fault in CHAIN}
    return Profile(lines, tendencies, chained)


def coach_gain_per_day(coach: str, habit: Habit) -> float:
    """Planted gain per day of a coach's students in a habit: gain · its day-to-day spread / 90."""
    gain = next(c.gain for c in COACHES if c.code == coach)
    return gain * habit.day / 90 if habit.name in COACHED_HABITS else 0.0


def _line(habit: Habit, rng: np.random.Generator) -> HabitLine:
    kind = str(rng.choice(["rising", "falling", "holding", "wandering"], p=[0.27, 0.13, 0.45, 0.15]))
    size = habit.trend * rng.uniform(0.7, 1.3)
    if habit.trend == 0 and kind in {"rising", "falling"}:
        kind = "holding"
    change = {"rising": size, "falling": -0.8 * size}.get(kind, 0.0)
    room = 2.2 * habit.swing + 1.5 * habit.day
    start = rng.normal(habit.mean - change / 2, habit.between)
    start = float(np.clip(start, habit.lo + room - min(change, 0), habit.hi - room - max(change, 0)))
    wander = np.zeros(DAYS + 1)
    if kind == "wandering":
        steps = rng.normal(0, 1.3 * habit.between / np.sqrt(DAYS), DAYS)
        wander = np.concatenate([[0.0], np.cumsum(steps)])
    return HabitLine(kind, start, change, wander)


def _tendencies(student: Student, number: int, rng: np.random.Generator) -> dict[str, Tendency]:
    """Two faults in turn, so that all are covered, and often a third."""
    count = len(PICKED)
    picks = [PICKED[(2 * number) % count], PICKED[(2 * number + 1) % count]]
    if rng.random() < 0.55:
        common = rng.random() < 0.5
        picks.append(str(rng.choice(["late_crossing", "trail_heel_sink"] if common else PICKED)))
    out: dict[str, Tendency] = {}
    for pick in picks:
        unseen = pick == "unsteady_at_address" and student.bay not in MEASURES_SWAY
        fault = "rocking_start" if unseen else pick
        if fault == "target_drift" and student.style == "falls_back":
            continue
        kind = str(rng.choice(["falling", "rising", "holding"], p=[0.45, 0.15, 0.40]))
        high, low = rng.uniform(0.45, 0.75), rng.uniform(0.04, 0.12)
        held = rng.uniform(0.15, 0.45)
        first, last = {"falling": (high, low), "rising": (low, high), "holding": (held, held)}[kind]
        out[fault] = Tendency(kind, float(first), float(last))
    return out
