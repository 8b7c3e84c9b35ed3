"""Who comes when, what is measured, and which drill is given: the season's plan, session by session."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from demo_academy.dials import DIAL, DIALS
from demo_academy.drills import DRILL, DRILLS
from demo_academy.faults import PLATE_FAULTS
from demo_academy.scenario import DEVICE_CHANGE, DEVICE_OFFSET_PCT, DEVICES, SEASON, Device, Student
from demo_academy.story import BACKGROUND, SEES_SWAY, Story, coach_gain_per_day

ZONE = ZoneInfo("Europe/Dublin")
WEEKS = 26
MID_SEASON = date(2026, 7, 6)


@dataclass(frozen=True)
class Row:
    """One swing to come."""

    no: int
    part: str
    pace: str
    club: str
    family: str
    drill: str | None = None


@dataclass(frozen=True)
class Visit:
    """One planned session: the student's levels that day (noise of the day included) and fault probabilities.

    `expected` and `chances` are the same without the day's noise; `given` is the drill set in the lesson.
    """

    session: str
    student: Student
    coach: str
    started_at: datetime
    kind: str
    device: Device
    rate_hz: float
    rows: tuple[Row, ...]
    levels: dict[str, float]
    expected: dict[str, float]
    odds: dict[str, float]
    chances: dict[str, float]
    given: str | None
    remeasured: bool
    doses: dict[str, int]

    @property
    def day(self) -> int:
        """Days since the season began."""
        return (self.started_at.date() - SEASON[1]).days

    @property
    def along_offset(self) -> float:
        """What the day's device adds to every centre of pressure, in % of foot length."""
        return DEVICE_OFFSET_PCT if self.device.name == "plates-west-2" else 0.0


def plan_student(
    student: Student,
    number: int,
    story: Story,
    change: tuple[date, str] | None,
    visits: int,
    rng: np.random.Generator,
) -> list[Visit]:
    """Plan one student's season: visits in order, each drill chosen by what the day showed."""
    weeks = np.sort(rng.choice(WEEKS, size=visits, replace=False))
    doses: dict[str, int] = dict.fromkeys(DRILL, 0)
    plan: list[Visit] = []
    for order, week in enumerate(weeks):
        started = _start(int(week), number, rng)
        visit = _visit(student, story, started, order, plan, doses, change, rng)
        plan.append(visit)
        if visit.given is not None:
            doses[visit.given] += 1
    return plan


def _start(week: int, number: int, rng: np.random.Generator) -> datetime:
    day = SEASON[1] + timedelta(days=7 * week + (number * 3 + int(rng.integers(0, 2))) % 6)
    clock = time(9 + (number * 5 + int(rng.integers(0, 3))) % 10, int(rng.choice([0, 10, 30, 40])))
    return datetime.combine(day, clock, ZONE)


def _visit(
    student: Student, story: Story, started: datetime, order: int, before: list[Visit], doses: dict[str, int],
    change: tuple[date, str] | None, rng: np.random.Generator,
) -> Visit:  # fmt: skip
    day = (started.date() - SEASON[1]).days
    coach = change[1] if change and started.date() >= change[0] else student.coach
    expected = {name: _level(story, name, day, doses, student, change) for name in DIAL}
    levels = {d.name: expected[d.name] + rng.normal(0, d.day) for d in DIALS}
    device = _device(student, started.date(), order, rng)
    chances = {fault: _chance(story, fault, day, doses, device) for fault in PLATE_FAULTS}
    odds = {fault: _with_luck(p, rng) for fault, p in chances.items()}
    age = student.age_on(started.date())
    given = _choose_drill(levels, odds, age, rng) if rng.random() < 0.6 else None
    remeasured = given is not None and rng.random() < 0.75
    retention = bool(before) and before[-1].given is not None and rng.random() < 0.5
    return Visit(
        session=f"{started.date().isoformat()}-{student.code}",
        student=student,
        coach=coach,
        started_at=started,
        kind="plates",
        device=device,
        rate_hz=1000.0 if device.layout == "parquet" and order % 4 == 1 else device.rate_hz,
        rows=_rows(given if remeasured else None, retention, rng),
        levels=levels,
        expected=expected,
        odds=odds,
        chances=chances,
        given=given,
        remeasured=remeasured,
        doses=dict(doses),
    )


def _level(
    story: Story,
    name: str,
    day: int,
    doses: dict[str, int],
    student: Student,
    change: tuple[date, str] | None,
) -> float:
    """A dial's level on a day: own line, the coach's gain so far, and what drills have left."""
    dial = DIAL[name]
    switch = (change[0] - SEASON[1]).days if change else day
    gained = coach_gain_per_day(student.coach, dial) * min(day, switch)
    if change and day > switch:
        gained += coach_gain_per_day(change[1], dial) * (day - switch)
    kept = sum(
        drill.kept * (doses[drill.code] >= 1) + drill.more * max(doses[drill.code] - 1, 0)
        for drill in DRILLS
        if drill.dial == name
    )
    return float(np.clip(story.lines[name].at(day) + gained + kept, *_span(name, student)))


def _span(name: str, student: Student) -> tuple[float, float]:
    """The dial's range, held a little inside so that swings spread freely about it."""
    dial = DIAL[name]
    if name == "gain":
        return (-19.0, -14.0) if student.lean == "reverse" else (3.0, 8.0)
    return dial.lo + dial.swing, dial.hi - dial.swing


def _device(student: Student, day: date, order: int, rng: np.random.Generator) -> Device:
    """The student's own bay; now and then the mat; the west bay's new plates from the change on."""
    guest = rng.random() < 0.06 and order > 1
    bay = "mat-east" if guest else student.bay
    if bay == "plates-west" and day >= DEVICE_CHANGE:
        bay = "plates-west-2"
    return DEVICES[bay]


def _chance(story: Story, fault: str, day: int, doses: dict[str, int], device: Device) -> float:
    """Probability of a fault on a day: the student's own tendency and the drills for it so far."""
    if fault == "unsteady_at_address" and device.name not in SEES_SWAY:
        return 0.0
    if fault not in story.tendencies:
        return BACKGROUND
    shift = sum(
        drill.kept * (doses[drill.code] >= 1) + drill.more * max(doses[drill.code] - 1, 0)
        for drill in DRILLS
        if drill.aim == fault
    )
    return float(1 / (1 + np.exp(-story.tendencies[fault].logit(day) - shift)))


def _with_luck(chance: float, rng: np.random.Generator) -> float:
    """The chance as the day makes it: its log odds moved by the day's own luck."""
    luck = rng.normal(0, 0.3)
    return float(1 / (1 + (1 - chance) / chance * np.exp(-luck))) if chance > BACKGROUND else chance


def _choose_drill(
    levels: dict[str, float], odds: dict[str, float], age: int, rng: np.random.Generator
) -> str:
    """Mostly the drill whose aim looks worst today; now and then another."""
    allowed = [d for d in DRILLS if d.min_age is None or age >= d.min_age]
    scores = []
    for drill in allowed:
        if drill.dial is None:
            scores.append(1.2 - 4.0 * odds[drill.aim])
        elif drill.dial == "tempo":
            scores.append(1.0)
        else:
            dial = DIAL[drill.dial]
            scores.append((levels[drill.dial] - dial.mean) / np.hypot(dial.between, dial.day))
    if rng.random() < 0.25:
        return allowed[int(rng.integers(0, len(allowed)))].code
    return allowed[int(np.argmin(scores))].code


def _rows(drill: str | None, retention: bool, rng: np.random.Generator) -> tuple[Row, ...]:  # noqa: FBT001
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
    rows: list[Row] = []
    for count, part, pace, club, family, code in blocks:
        rows += [Row(len(rows) + k + 1, part, pace, club, family, code) for k in range(count)]
    return tuple(rows)
