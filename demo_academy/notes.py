"""What coaches and students write: what was seen, checked, felt, set, planned, practised, and what hurts."""

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from demo_academy.faults import PLATE_FAULTS
from demo_academy.habits import DAYS, HABIT_BY_NAME
from demo_academy.season_plan import Visit
from warehouse.body import FALLS_ASKED_FROM_AGE

COLUMNS: dict[str, Any] = {
    "session": pl.String, "student": pl.String, "at": pl.String, "author": pl.String, "kind": pl.String,
    "swing_no": pl.Int32, "code": pl.String, "grade": pl.Int32, "value": pl.Float64, "value_to": pl.Float64,
    "unit": pl.String, "pace": pl.String, "place": pl.String, "text": pl.String, "shared": pl.Boolean,
    "held": pl.String, "lost": pl.String, "announced": pl.Boolean, "stood_by": pl.String, "drill": pl.String,
    "drawn_against": pl.String, "kindred": pl.String, "due": pl.String,
}  # fmt: skip
PLANS = (
    "Same drill next time, then check at full pace.",
    "Ten slow swings a day, then five at half pace.",
    "Measure the driver next time.",
    "Shorter sessions, more rest between swings.",
    "Work on the set-up first; leave the downswing alone for now.",
)
SEEN = (
    "Clear today, more so when hurried.",
    "Only in the first few swings.",
    "Comes back at full pace.",
    "Less than last time.",
)
Line = dict[str, Any]
EYES_CLOSED_DRILL = "d08"
OFTEN = 10  # visits
AGREED_HABITS = ("finish", "recentre")
AGREED: dict[str, Any] = {
    "code": HABIT_BY_NAME["finish"].metric, "kindred": HABIT_BY_NAME["recentre"].metric, "value": 3.0,
    "text": "More weight on the front foot at the finish, and back to it earlier.",
}  # fmt: skip
OPEN_QUESTION = ("d03", "d04")  # too few students have been drawn between them for an answer
NUDGED_EVERY = 4  # students: one in so many is checked for balance
EYES_CLOSED_FROM_AGE = 14
WAYS = ("forward", "back", "toward", "away")
STOOD_BY = ("Assistant coach", "Parent", "Second coach")
SIGNS = (
    "lead_knee_bends_back", "hips_wind", "trail_knee_upright", "body_rises_early", "poor_posture_at_setup",
    "foot_held_by_ground",
)  # fmt: skip
FELT = {"lead_heel_light": "lead_heel_heavy", "trail_heel_light": "trail_heel_down"}
"""Feeling → the fault that it says is not there."""


def note_table(lines: list[Line]) -> pl.DataFrame:
    """Note lines as the table of notes.csv."""
    return pl.DataFrame([{name: line.get(name) for name in COLUMNS} for line in lines], schema=COLUMNS)


def _line(visit: Visit, minute: int, **more: Any) -> Line:
    """A line that its coach writes so many minutes into a visit."""
    return {
        "session": visit.session, "student": visit.student.code, "author": visit.coach, "shared": True,
        "at": (visit.started_at + timedelta(minutes=minute)).isoformat(),
    } | more  # fmt: skip


def session_lines(visit: Visit, rates: dict[str, float], rng: np.random.Generator) -> list[Line]:
    """The coach's notes of one visit; `rates` is fault → planted share of the visit's swings."""
    lines: list[Line] = []

    def add(minute: int, **line: Any) -> None:
        lines.append(_line(visit, minute, **line))

    for fault in PLATE_FAULTS:
        rate = rates.get(fault, 0.0)
        if rng.random() < (0.75 if rate > 0.4 else 0.25 if rate > 0.1 else 0.01):
            text = SEEN[int(rng.integers(0, len(SEEN)))] if rng.random() < 0.4 else None
            add(12, kind="saw", code=fault, grade=1 + (rate > 0.3) + (rate > 0.6), text=text, shared=False)
    if visit.drill_set is not None:
        reps = float(rng.choice([10, 15, 20]))
        drill = {"code": visit.drill_set, "drawn_against": visit.drawn_against}
        add(25, kind="drill", **drill, value=reps, unit="reps", place="lesson", pace="slow")
        if rng.random() < 0.5:
            add(45, kind="plan", code=visit.drill_set, text=PLANS[int(rng.integers(0, len(PLANS)))])
    elif rng.random() < 0.25:
        add(45, kind="plan", text=PLANS[int(rng.integers(0, len(PLANS)))])
    if rng.random() < 0.08:
        lost = rates.get("unsteady_at_address", 0.0) > 0.3 and rng.random() < 0.6
        for way in ("forward", "back", "sideways"):
            grade = int(lost and way == "sideways")
            add(6, kind="steadiness", code=way, grade=grade, unit="open", shared=False)
    return lines


def observed_lines(
    visit: Visit, number: int, rates: dict[str, float], rng: np.random.Generator
) -> list[Line]:
    """Lines of one visit of student `number`; `rates` is fault → planted share of the visit's swings."""
    lines: list[Line] = []

    def add(minute: int, **line: Any) -> None:
        lines.append(_line(visit, minute, **line))

    if number % NUDGED_EVERY == 0 and rng.random() < 0.5:
        add(7, **_nudge(visit, rates, rng), shared=False)
    for k, sign in enumerate(SIGNS):
        if (number + k) % 5 == 0 and rng.random() < 0.55:
            add(13, kind="saw", code=sign, grade=int(rng.integers(1, 4)), shared=False)
    if number % 3 == 0:
        learned = min(max(visit.day / DAYS, 0.0), 1.0)
        for feeling, fault in FELT.items():
            clean = rates.get(fault, 0.0) < 0.5
            right = rng.random() < 0.5 + 0.45 * learned  # at first a guess, late in the season nearly sure
            add(28, kind="felt", code=feeling, grade=int(clean == right), shared=True)
    return lines


def _nudge(visit: Visit, rates: dict[str, float], rng: np.random.Generator) -> Line:
    """A nudge check in every direction: who stands in the heels is easily lost backward, and so on."""
    chance = {
        "back": 0.1 + 0.8 * rates.get("heels_at_address", 0.0),
        "forward": 0.1 + 0.8 * rates.get("toes_at_address", 0.0),
        "toward": 0.08, "away": 0.08,
    }  # fmt: skip
    lost = [way for way in WAYS if rng.random() < chance[way]]
    held = [way for way in WAYS if way not in lost]
    old_enough = visit.student.age_on(visit.started_at.date()) >= EYES_CLOSED_FROM_AGE
    return {
        "kind": "steadiness", "held": " ".join(held), "lost": " ".join(lost), "announced": False,
        "unit": "eyes closed" if old_enough else "eyes open", "stood_by": str(rng.choice(STOOD_BY)),
    }  # fmt: skip


def practice_lines(visit: Visit, until: datetime, rng: np.random.Generator) -> list[Line]:
    """Home practice logged between a visit and the next, for some of the drills set."""
    if visit.drill_set is None or rng.random() < 0.55:
        return []
    lines: list[Line] = []
    at = visit.started_at + timedelta(days=int(rng.integers(1, 4)))
    while at < until and len(lines) < 3:
        lines.append(
            {"student": visit.student.code, "at": at.replace(hour=18, minute=5).isoformat(),
             "author": visit.student.code, "kind": "practice", "code": visit.drill_set,
             "value": float(rng.choice([5, 10, 15])), "unit": "minutes",
             "pace": str(rng.choice(["slow", "half"])), "place": "home", "shared": True,
             "grade": 1 + len(lines)}
        )  # fmt: skip
        at += timedelta(days=int(rng.integers(2, 5)))
    return lines


def fixed_lines(plans: list[list[Visit]]) -> dict[str, list[Line]]:
    """Notes that every demo has, session → lines: falls, discomfort open and over, a target, a talk."""
    first, second, third, fourth = plans[:4]
    out: dict[str, list[Line]] = {}

    def add(visit: Visit, minute: int, **line: Any) -> None:
        out.setdefault(visit.session, []).append(_line(visit, minute, **line))

    ache = "Stiff after a long drive; stopped the drill."
    fallen = _fallen(plans)
    for plan in plans:
        add(plan[0], 2, kind="falls", grade=int(plan is fallen), shared=False)
    add(first[-1], 55, kind="discomfort", code="lower back", text=ache)
    add(second[1], 55, kind="discomfort", code="trail knee", text="Sore when turning back; rested it.")
    add(second[2], 5, kind="discomfort_over", code="trail knee", text="Gone.")
    build = "Built for a narrower stance; this is the student's own band."
    band: Line = {"code": "mid_back_trail_share_pct", "value": 62.0, "value_to": 72.0}
    add(third[1], 40, kind="target", text=build, **band)
    signal = f"improving:{fourth[-1].student.code}:finish_lead_share_pct"
    add(fourth[-1], 50, kind="talked", code=signal, text="Talked the finish through with the student.")
    weeks = {"met": 0, "missed": 0, "too_early": 8}
    for kind, (visit, last) in agreed_aims(plans).items():
        due = (last.started_at + timedelta(weeks=weeks[kind])).date().isoformat()
        add(visit, 58, kind="agreed_aim", due=due, **AGREED)
    for place, plan in enumerate(plans[4::6]):
        one, other = sorted(OPEN_QUESTION, reverse=bool(place % 2))
        middle = plan[len(plan) // 2]
        add(middle, 57, kind="plan", code=one, drawn_against=other, text="Drawn between the two.")
    return out


def agreed_aims(plans: list[list[Visit]]) -> dict[str, tuple[Visit, Visit]]:
    """Agreed aims, each of another student: the visit on which it is agreed, and the student's last one.

    met and missed: of those who come often, who gains most and who loses most from the sixth visit before the
    last one on; too_early: agreed on the last visit.
    """
    often = [plan for plan in plans if len(plan) >= OFTEN] or plans
    ranked = sorted(often, key=agreed_gain)
    fresh = next(plan for plan in reversed(plans) if plan not in (ranked[0], ranked[-1]))
    return {
        "met": (ranked[-1][_agreed_at(ranked[-1])], ranked[-1][-1]),
        "missed": (ranked[0][_agreed_at(ranked[0])], ranked[0][-1]),
        "too_early": (fresh[-1], fresh[-1]),
    }


def _agreed_at(plan: list[Visit]) -> int:
    """The place of the sixth visit before the last; of few visits, of the fourth or the last but one."""
    return max(len(plan) - 6, min(3, len(plan) - 2))


def agreed_gain(plan: list[Visit]) -> float:
    """What is planted in the agreed measures since that visit, in their day-to-day spreads."""
    first, last = plan[_agreed_at(plan)].expected, plan[-1].expected
    return sum((last[name] - first[name]) / HABIT_BY_NAME[name].day for name in AGREED_HABITS)


def _fallen(plans: list[list[Visit]]) -> list[Visit] | None:
    """One older player who fell: never checked for balance, and set nothing with eyes closed."""
    return next(
        (
            plan
            for number, plan in enumerate(plans)
            if number % NUDGED_EVERY
            and plan[0].student.age_on(plan[0].started_at.date()) >= FALLS_ASKED_FROM_AGE
            and all(visit.drill_set != EYES_CLOSED_DRILL for visit in plan)
        ),
        None,
    )


GOALS = (
    ("farther", "Reach the green of the long par four in two."),
    ("straighter", "Keep the ball out of the trees on the left."),
    ("more_solid", "Feel the ball come off the middle more often."),
    ("more_often", "Hit the same shot twice in a row."),
    (None, "Play a round with my grandfather without holding him up."),
)


def goal_lines(plans: list[list[Visit]]) -> list[Line]:
    """What two players in three said at their first visit that they came for."""
    said = [(plan[0], GOALS[k % len(GOALS)]) for k, plan in enumerate(plans) if k % 3]
    return [
        {"student": visit.student.code, "author": visit.coach, "kind": "goal", "code": code, "text": words,
         "at": (visit.started_at + timedelta(minutes=3)).isoformat(), "shared": True}
        for visit, (code, words) in said
    ]  # fmt: skip


def reference_lines(plans: list[list[Visit]]) -> list[Line]:
    """Reference swings: the third student's own, and for some the swing of another player of their coach.

    Those others are every second student, who agree to it.
    """
    lines = [_reference(plans[2], plans[2])]
    for plan in plans[3::8]:
        agree = (other for other in plans[::2] if other is not plan and other[0].coach == plan[-1].coach)
        lines += [_reference(plan, other) for other in list(agree)[:1]]
    return lines


def _reference(plan: list[Visit], other: list[Visit]) -> Line:
    """The first full iron swing of the other's last visit off the mat, where some swings are damaged."""
    visit = next((v for v in reversed(other) if v.device.layout != "mat"), other[-1])
    no = next(s.no for s in visit.swings if (s.part, s.pace, s.family) == ("baseline", "full", "iron"))
    at = (plan[-1].started_at + timedelta(days=1)).isoformat()
    return {
        "student": plan[0].student.code, "author": plan[-1].coach, "at": at, "kind": "reference",
        "code": visit.session, "value": float(no), "shared": False,
    }  # fmt: skip


def shot_frame(
    visit: Visit, impact_share: Any, mid_down_share: Any, rng: np.random.Generator
) -> pl.DataFrame:
    """shots.csv: carry grows with lead share at mid-down, side with the lack of it at impact (see BALL)."""
    student, count = visit.student, len(visit.swings)
    stretch = {"full": 1.0, "half": 0.75, "slow": 0.55}
    part = np.array([stretch[r.pace] * (1.45 if r.family == "driver" else 1.0) for r in visit.swings])
    age = student.age_on(visit.started_at.date())
    skill = ["beginner", "improver", "club", "competitor"].index(student.level)
    base = 78 + 45 * np.exp(-(((age - 32) / 26) ** 2)) + 8 * skill
    carry = base * part + BALL["carry_m_per_mid_down_pt"] * (mid_down_share - 68) + rng.normal(0, 3.5, count)
    side = BALL["side_m_per_impact_pt"] * (impact_share - 74) + rng.normal(0, 5.5, count)
    ball = np.sqrt(np.maximum(carry, 5)) * 4.35 + rng.normal(0, 0.5, count)
    # A stream of its own, so that the rest of the season stays as it was.
    strike = np.random.default_rng([visit.day, int(student.code[1:])]).normal(0, 0.03, count)
    strike += 1.30 + STRIKE_PER_DAY * visit.day
    return pl.DataFrame(
        {
            "session": [visit.session] * count,
            "swing_no": [r.no for r in visit.swings],
            "carry_m": np.round(np.maximum(carry, 5), 1),
            "side_m": np.round(side, 1),
            "club_speed_m_s": np.round(ball / strike, 1),
            "ball_speed_m_s": np.round(ball, 1),
        }
    )


STRIKE_PER_DAY = 0.0003  # ball speed over club speed; players here strike it better by and by
BALL = {"carry_m_per_mid_down_pt": 0.5, "side_m_per_impact_pt": -0.5}
