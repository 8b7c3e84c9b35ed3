"""The planted truth: true metrics of each swing, what the season's answers should find, all refusals."""

import json
from collections.abc import Iterable
from contextlib import closing
from dataclasses import asdict
from typing import Any

import numpy as np
import polars as pl

from demo_academy.curves import Array
from demo_academy.faults import EXCLUDES, PLATE_FAULTS
from demo_academy.habits import (
    CHAIN,
    COACHED_HABITS,
    DRILLS,
    HABIT_BY_NAME,
    MEASURES_SWAY,
    Drill,
    Habit,
    Profile,
)
from demo_academy.notes import BALL, agreed_aims, agreed_gain
from demo_academy.people import (
    COACHES,
    DEVICE_CHANGE,
    DEVICE_OFFSET_PCT,
    PLATE_DRIFT,
    SEASON,
    Student,
)
from demo_academy.season_plan import Visit
from demo_academy.swings import Batch
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.store import open_snapshot

MEAN_WITH_FAULT: dict[str, dict[str, float]] = {
    "mid_back_trail_share_pct": {"stays_centred": 52.5, "far_trail": 85.7},
    "trail_heel_sink_pct": {"heels_at_address": 1.0, "toes_at_address": 3.5, "trail_heel_sink": 21.0,
                            "lead_heel_heavy": 3.5, "heels_together_back": 12.6, "toes_together_back": 0.0,
                            "feet_alike_back": 0.0, "trail_heel_stays": 6.0, "trail_heel_down": 8.7},
    "lead_heel_lightens_pts": {"toes_at_address": 20.0, "lead_heel_heavy": 1.0, "heels_together_back": -22,
                               "toes_together_back": 28, "feet_alike_back": 24, "heels_together_down": 28,
                               "toes_together_down": 14, "feet_alike_down": 16.5},
    "recentre_pts": {"far_trail": 10.0, "trail_push": 11.5, "no_recentre": -0.5, "late_back": -0.5,
                     "reverse_load": 36.0},
    "mid_down_lead_share_pct": {"late_crossing": 45.5, "little_lead_load": 54.1, "early_shove": 85.9,
                                "target_drift": 68.0, "reverse_load": 71.5},
    "crossing_before_impact_s": {"late_crossing": 0.036},
    "address_lead_along_pct": {"heels_at_address": 29.0, "toes_at_address": 57.0},
    "address_trail_along_pct": {"heels_at_address": 30.2, "toes_at_address": 79.5, "toes_together_back": 46},
    "impact_gain_pts": {"late_crossing": 9.0, "little_lead_load": 6.5, "early_shove": 2, "target_drift": 24},
    "address_lead_share_pct": {"uneven_at_address": 50.0},
    "peak_vertical_pct_bw": {"late_crossing": 110.0, "little_lead_load": 113.0, "trail_heel_down": 139.0,
                             "trail_push": 152.0},
}  # fmt: skip
"""Mean of a metric in swings with a fault, where it differs from the habit."""


def swing_rows(plan: list[Visit], batch: Batch) -> pl.DataFrame:
    """One row per planted swing of a student: keys, true metrics, planted faults, clean."""
    pairs = [(visit, row) for visit in plan for row in visit.swings]
    keys: dict[str, Any] = {
        "session": [v.session for v, _ in pairs],
        "swing_no": pl.Series([r.no for _, r in pairs], dtype=pl.Int32),
        "student": [v.student.code for v, _ in pairs],
        "device": [v.device.name for v, _ in pairs],
        "rate_hz": [v.rate_hz for v, _ in pairs],
        "heel_source": ["measured" if v.device.heels else "estimated" for v, _ in pairs],
        "club_family": [r.family for _, r in pairs],
        "part": [r.part for _, r in pairs],
        "pace": [r.pace for _, r in pairs],
        "drill": pl.Series([r.drill for _, r in pairs], dtype=pl.String),
        "weight_n": batch.curves.weight_n,
    }
    metrics: dict[str, Array] = dict(batch.metrics)
    seen = np.array([v.device.name in MEASURES_SWAY for v, _ in pairs])
    metrics["address_sway_speed_mm_s"] = np.where(seen, metrics["address_sway_speed_mm_s"], np.nan)
    stance = np.array([v.student.stance_mm if v.device.layout == "parquet" else np.nan for v, _ in pairs])
    names = [[fault for fault, hit in batch.planted.items() if hit[k]] for k in range(len(pairs))]
    faults = {"planted_faults": pl.Series(names, dtype=pl.List(pl.String)), "clean": [not n for n in names]}
    frame = pl.DataFrame(keys | faults | metrics | {"stance_width_mm": np.round(stance)})
    return frame.with_columns(pl.selectors.float().fill_nan(None))


def all_swing_rows(
    plates: Iterable[pl.DataFrame],
    beside: list[pl.DataFrame],
    alone: list[pl.DataFrame],
    damaged: list[tuple[str, int]],
) -> pl.DataFrame:
    """Every planted swing that must load, in order of session and swing."""
    frame = pl.concat(plates)
    if beside:
        frame = frame.join(pl.concat(beside), on=["session", "swing_no"], how="left", maintain_order="left")
    frame = pl.concat([frame, *alone], how="diagonal")
    lost = pl.DataFrame(damaged, schema={"session": pl.String, "swing_no": pl.Int32}, orient="row")
    return frame.join(lost, on=["session", "swing_no"], how="anti").sort("session", "swing_no")


def student_truth(student: Student, profile: Profile, plan: list[Visit]) -> dict[str, Any]:
    """What was planted in one student: style, fault tendencies, each metric's change over the visits."""
    tendencies = {
        fault: {"kind": t.kind, "first": round(t.first, 3), "last": round(t.last, 3)}
        for fault, t in profile.tendencies.items()
    }
    return {
        "style": student.style,
        "handed": student.handed,
        "age": student.age_on(SEASON[1]),
        "bay": student.bay,
        "coaches": sorted({visit.coach for visit in plan}),
        "sessions": len(plan),
        "tendencies": tendencies,
        "chain": list(CHAIN) if profile.chained else None,
        "metrics": {
            habit.metric: _habit_truth(habit, profile, plan)
            for habit in HABIT_BY_NAME.values()
            if habit.name != "load_on"
        },
    }


def _habit_truth(habit: Habit, profile: Profile, plan: list[Visit]) -> dict[str, Any]:
    """Expected baseline iron means at the first and last visit, without the device offset."""
    means = [_expected(habit, visit) for visit in plan]
    days = plan[-1].day - plan[0].day
    change = means[-1] - means[0]
    touched = [fault for fault in MEAN_WITH_FAULT.get(habit.metric, {}) if fault in profile.tendencies]
    return {
        "kind": profile.lines[habit.name].kind,
        "first": round(means[0], 4),
        "last": round(means[-1], 4),
        "change": round(change, 4),
        "per_month": round(change / days * 30, 4) if days else 0.0,
        "touched_by": touched,
    }


def _expected(habit: Habit, visit: Visit) -> float:
    """The habit's level without the day's noise, averaged with its values under the planted faults."""
    value = visit.expected[habit.name]
    if habit.name == "gain" and value > 0:
        value = min(value, 83.0 - visit.expected["mid_down"])
    typical = MEAN_WITH_FAULT.get(habit.metric, {})
    chances = _after_exclusions(visit.expected_chances)
    whole = sum(chances[fault] for fault in typical)
    shrink = min(1.0, 1.0 / whole) if whole > 0 else 1.0
    return float(
        value + sum(shrink * chances[fault] * (with_fault - value) for fault, with_fault in typical.items())
    )


def _after_exclusions(chances: dict[str, float]) -> dict[str, float]:
    """Chance that a fault remains once earlier faults have excluded theirs."""
    out = dict(chances)
    for fault in PLATE_FAULTS:
        for other in EXCLUDES.get(fault, ()):
            out[other] *= 1 - out[fault]
    return out


def season_truth(plans: list[list[Visit]]) -> dict[str, Any]:
    """Drills, coaches, the device change and the ball: what was planted, academy-wide."""
    both = ("address_lead_along_pct", "address_trail_along_pct")
    plan_of = {plan[0].student.code: plan for plan in plans}
    return {
        "season": {"name": SEASON[0], "from": SEASON[1].isoformat(), "to": SEASON[2].isoformat()},
        "drills": {drill.code: _drill_truth(drill, plans) for drill in DRILLS},
        "coaches": {
            coach.code: {
                "gain_day_spreads_per_90_days": coach.gain,
                "per_90_days": {
                    HABIT_BY_NAME[n].metric: round(coach.gain * HABIT_BY_NAME[n].day, 4)
                    for n in COACHED_HABITS
                },
            }
            for coach in COACHES
        },
        "device_change": {
            "from": "plates-west",
            "to": "plates-west-2",
            "day": DEVICE_CHANGE.isoformat(),
            "offset": dict.fromkeys(both, DEVICE_OFFSET_PCT),
        },
        "plate_drift": asdict(PLATE_DRIFT),
        "ball": BALL,
        "agreed_aims": {
            kind: {
                "student": visit.student.code,
                "agreed": visit.started_at.date().isoformat(),
                "gain": round(agreed_gain(plan_of[visit.student.code]), 3),
            }
            for kind, (visit, _last) in agreed_aims(plans).items()
        },
    }


def _drill_truth(drill: Drill, plans: list[list[Visit]]) -> dict[str, Any]:
    """The drill's lasting gain, its change on the day, and to how many it was given or drawn, how often."""
    doses = [sum(visit.drill_set == drill.code for visit in plan) for plan in plans]
    return {
        "aim": drill.aim,
        "unit": "log odds" if drill.habit is None else "the metric's own",
        "kept_first": drill.kept,
        "kept_each_more": drill.more,
        "same_day": drill.same_day,
        "doses": sum(doses),
        "students": sum(count > 0 for count in doses),
        "drawn": sum(
            visit.drill_set == drill.code for plan in plans for visit in plan if visit.drawn_against
        ),
    }


def check_refusals(home: Home) -> int:
    """Compare what was refused with what was planted; returns how many that is.

    Raises
        UnderfootError: a planted refusal is missing, or there is another.
    """
    planted = json.loads((home.path / "planted_truth.json").read_text(encoding="utf-8"))["expected_refusals"]
    expected = {(entry["delivery"], entry["swing_no"]) for entry in planted}
    with closing(open_snapshot(home)) as snapshot:
        rows = snapshot.sql("SELECT name, swing_no FROM academy.refusal").rows()
    found = {(str(name), swing) for name, swing in rows}
    if found != expected:
        missed, extra = sorted(map(str, expected - found)), sorted(map(str, found - expected))
        raise UnderfootError(
            "The demo's refusals are not the planted ones: "
            f"missed {missed or 'none'}, unexpected {extra or 'none'}."
        )
    return len(expected)
