"""Who comes when, what is measured, and which drill is set: the season's plan, session by session."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from demo_academy.faults import PLATE_FAULTS
from demo_academy.habits import (
    BACKGROUND,
    DRILL_BY_CODE,
    DRILLS,
    HABIT_BY_NAME,
    HABITS,
    MEASURES_SWAY,
    Drill,
    Profile,
    coach_gain_per_day,
)
from demo_academy.people import DEVICE_CHANGE, DEVICE_OFFSET_PCT, DEVICES, SEASON, Device, Student

ZONE = ZoneInfo("Europe/Dublin")
WEEKS = 26
MID_SEASON = date(2026, 7, 6)


@dataclass(frozen=True)
class PlannedSwing:
    """One planned swing."""

    no: int
    part: str
    pace: str
    club: str
    family: str
    drill: str | None = None


@dataclass(frozen=True)
class Visit:
    """One planned session: the student's habit levels and fault chances that day, with the day's noise.

    `expected` and `expected_chances` are the same without it; `drill_set` is the drill set in the lesson, and
    `drawn_against` the one that it was drawn against by lot.
    """

    session: str
    student: Student
    coach: str
    started_at: datetime
    device: Device
    rate_hz: float
    swings: tuple[PlannedSwing, ...]
    levels: dict[str, float]
    expected: dict[str, float]
    fault_chances: dict[str, float]
    expected_chances: dict[str, float]
    drill_set: str | None
    doses: dict[str, int]
    chained: bool = False
    drawn_against: str | None = None

    @property
    def day(self) -> int:
        """Days since the season began."""
        return (self.started_at.date() - SEASON[1]).days

    @property
    def along_offset(self) -> float:
        """What the day's device adds to every centre of pressure, in % of foot length."""
        return DEVICE_OFFSET_PCT if self.device.name == "plates-west-2" else 0.0


def plan_student(
    student: Student, number: int, profile: Profile, change: tuple[date, str] | None, visits: int,
    lot: tuple[str, str], rng: np.random.Generator,
) -> list[Visit]:  # fmt: skip
    """Plan one student's season: visits in order, each drill chosen by what the day showed.

    `lot`: the drill that a draw gives the student once one of the two would be set, or any from the fourth
    visit on; and the other one, which they are never given after it.
    """
    weeks = np.sort(rng.choice(WEEKS, size=visits, replace=False))
    doses: dict[str, int] = dict.fromkeys(DRILL_BY_CODE, 0)
    plan: list[Visit] = []
    for order, week in enumerate(weeks):
        started = _start(int(week), number, rng)
        visit = _visit(student, profile, started, order, plan, doses, change, lot, rng)
        plan.append(visit)
        if visit.drill_set is not None:
            doses[visit.drill_set] += 1
    return plan


def _start(week: int, number: int, rng: np.random.Generator) -> datetime:
    day = SEASON[1] + timedelta(days=7 * week + (number * 3 + int(rng.integers(0, 2))) % 6)
    clock = time(9 + (number * 5 + int(rng.integers(0, 3))) % 10, int(rng.choice([0, 10, 30, 40])))
    return datetime.combine(day, clock, ZONE)


def _visit(
    student: Student, profile: Profile, started: datetime, order: int, before: list[Visit],
    doses: dict[str, int], change: tuple[date, str] | None, lot: tuple[str, str], rng: np.random.Generator,
) -> Visit:  # fmt: skip
    day = (started.date() - SEASON[1]).days
    coach = change[1] if change and started.date() >= change[0] else student.coach
    expected = {name: _level(profile, name, day, doses, student, change) for name in HABIT_BY_NAME}
    levels = {d.name: expected[d.name] + rng.normal(0, d.day) for d in HABITS}
    device = _device(student, started.date(), order, rng)
    chances = {fault: _chance(profile, fault, day, doses, device) for fault in PLATE_FAULTS}
    fault_chances = {fault: _with_daily_variation(p, rng) for fault, p in chances.items()}
    age = student.age_on(started.date())
    drawn = any(visit.drawn_against for visit in before)
    withheld = lot[1:] if drawn else ()
    given = _choose_drill(levels, fault_chances, age, withheld, rng) if rng.random() < 0.6 else None
    asked = given is not None and not drawn and (order > 2 or given in lot)
    if asked:
        given = lot[0]
    remeasured = given is not None and rng.random() < 0.75
    retention = bool(before) and before[-1].drill_set is not None and rng.random() < 0.5
    return Visit(
        session=f"{started.date().isoformat()}-{student.code}",
        student=student,
        coach=coach,
        started_at=started,
        device=device,
        rate_hz=1000.0 if device.layout == "parquet" and order % 4 == 1 else device.rate_hz,
        swings=_swings(given if remeasured else None, retention, rng),
        levels=levels,
        expected=expected,
        fault_chances=fault_chances,
        expected_chances=chances,
        drill_set=given,
        doses=dict(doses),
        chained=profile.chained,
        drawn_against=lot[1] if asked else None,
    )


def _level(
    profile: Profile, name: str, day: int, doses: dict[str, int], student: Student,
    change: tuple[date, str] | None,
) -> float:  # fmt: skip
    """A habit's level on a day: the student's own line, the coach's gain so far, what drills have added."""
    habit = HABIT_BY_NAME[name]
    switch = (change[0] - SEASON[1]).days if change else day
    gained = coach_gain_per_day(student.coach, habit) * min(day, switch)
    if change and day > switch:
        gained += coach_gain_per_day(change[1], habit) * (day - switch)
    kept = sum(_worth(drill, doses) for drill in DRILLS if drill.habit == name)
    return float(np.clip(profile.lines[name].at(day) + gained + kept, *_span(name, student)))


def _worth(drill: Drill, doses: dict[str, int]) -> float:
    """What a student's doses of a drill so far have left."""
    return drill.kept * (doses[drill.code] >= 1) + drill.more * max(doses[drill.code] - 1, 0)


def _span(name: str, student: Student) -> tuple[float, float]:
    """The habit's range, narrowed a little so that swings can spread about a level at its edge."""
    habit = HABIT_BY_NAME[name]
    if name == "gain":
        return (-19.0, -14.0) if student.style == "falls_back" else (3.0, 8.0)
    return habit.lo + habit.swing, habit.hi - habit.swing


def _device(student: Student, day: date, order: int, rng: np.random.Generator) -> Device:
    """The student's own bay; now and then the mat; the west bay's new plates from the change on."""
    guest = rng.random() < 0.06 and order > 1
    bay = "mat-east" if guest else student.bay
    if bay == "plates-west" and day >= DEVICE_CHANGE:
        bay = "plates-west-2"
    return DEVICES[bay]


def _chance(profile: Profile, fault: str, day: int, doses: dict[str, int], device: Device) -> float:
    """Probability of a fault on a day: the student's own tendency and the drills for it so far."""
    if fault == "unsteady_at_address" and device.name not in MEASURES_SWAY:
        return 0.0
    if fault not in profile.tendencies:
        return BACKGROUND
    shift = sum(_worth(drill, doses) for drill in DRILLS if drill.aim == fault)
    return float(1 / (1 + np.exp(-profile.tendencies[fault].logit(day) - shift)))


def _with_daily_variation(chance: float, rng: np.random.Generator) -> float:
    """The chance on the day: its log odds plus a normal draw of the day's own."""
    shift = rng.normal(0, 0.3)
    return float(1 / (1 + (1 - chance) / chance * np.exp(-shift))) if chance > BACKGROUND else chance


def _choose_drill(
    levels: dict[str, float], chances: dict[str, float], age: int, withheld: Sequence[str],
    rng: np.random.Generator,
) -> str:  # fmt: skip
    """Mostly the drill whose aim looks worst today; now and then another. None that is `withheld`."""
    allowed = [d for d in DRILLS if (d.min_age is None or age >= d.min_age) and d.code not in withheld]
    scores = []
    for drill in allowed:
        if drill.habit is None:
            scores.append(1.2 - 4.0 * chances[drill.aim])
        elif drill.habit == "backswing":
            scores.append(1.0)
        else:
            habit = HABIT_BY_NAME[drill.habit]
            scores.append((levels[drill.habit] - habit.mean) / np.hypot(habit.between, habit.day))
    if rng.random() < 0.25:
        return allowed[int(rng.integers(0, len(allowed)))].code
    return allowed[int(np.argmin(scores))].code


def _swings(drill: str | None, retention: bool, rng: np.random.Generator) -> tuple[PlannedSwing, ...]:  # noqa: FBT001
    """The swings of a session, in order."""
    blocks: list[tuple[int, str, str, str, str, str | None]] = []
    if retention:
        blocks.append((3, "retention", "full", "7-iron", "iron", None))
    blocks.append((int(rng.integers(6, 9)), "baseline", "full", "7-iron", "iron", None))
    if rng.random() < 0.2:
        blocks.append((3, "baseline", "full", "driver", "driver", None))
    if rng.random() < 0.15:
        blocks.append((3, "baseline", "full", "pitching wedge", "wedge", None))
    paces = [pace for pace in ("half", "slow") if rng.random() < 0.2]
    blocks += [(3, "baseline", pace, "7-iron", "iron", None) for pace in paces]
    if drill is not None:
        blocks.append((int(rng.integers(3, 5)), "after_drill", "full", "7-iron", "iron", drill))
    rows: list[PlannedSwing] = []
    for count, part, pace, club, family, code in blocks:
        rows += [PlannedSwing(len(rows) + k + 1, part, pace, club, family, code) for k in range(count)]
    return tuple(rows)
