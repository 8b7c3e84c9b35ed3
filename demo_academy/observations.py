"""What coaches check and see that no plate measures, and what students feel: nudges, signs, feelings."""

from datetime import timedelta
from typing import Any

import numpy as np

from demo_academy.notes import NUDGED_EVERY, Line
from demo_academy.people import SEASON
from demo_academy.season_plan import Visit

DAYS = (SEASON[2] - SEASON[1]).days
EYES_CLOSED_FROM_AGE = 14
WAYS = ("forward", "back", "toward", "away")
STOOD_BY = ("Assistant coach", "Parent", "Second coach")
SIGNS = (
    "lead_knee_bends_back", "hips_wind", "trail_knee_upright", "body_rises_early", "poor_posture_at_setup",
    "foot_held_by_ground",
)  # fmt: skip
FELT = {"lead_heel_light": "lead_heel_heavy", "trail_heel_light": "trail_heel_down"}
"""Feeling → the fault that it says is not there."""


def observed_lines(
    visit: Visit, number: int, rates: dict[str, float], rng: np.random.Generator
) -> list[Line]:
    """Lines of one visit of student `number`; `rates` is fault → planted share of the visit's swings."""
    base: Line = {"session": visit.session, "student": visit.student.code, "author": visit.coach}
    lines: list[Line] = []

    def add(minute: int, **line: Any) -> None:
        at = visit.started_at + timedelta(minutes=minute)
        lines.append(base | {"at": at.isoformat()} | line)

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
