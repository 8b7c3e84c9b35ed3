"""Write the demo academy: rosters, a season of deliveries, bad deliveries, and the planted truth."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from demo_academy.course import Array
from demo_academy.deliveries import write_plates
from demo_academy.make import draw_season
from demo_academy.rosters import write_rosters
from demo_academy.scenario import Student, cast
from demo_academy.season import MID_SEASON, Visit, plan_student
from demo_academy.story import SEES_SWAY, Story, tell
from demo_academy.swings import Batch

Progress = Callable[[int, int], None]


def write_academy(
    target: Path, *, seed: int = 20260401, scale: float = 1.0, progress: Progress | None = None
) -> None:
    """Write `target`/academy.toml, inbox/…, planted_truth.parquet and planted_truth.json.

    The same seed and scale give the same bytes. `scale` < 1 makes fewer students and visits, and still holds
    one of each special kind. `progress` is called with (students done, students in all).
    """
    inbox = target / "inbox"
    inbox.mkdir(parents=True, exist_ok=True)
    students = cast(np.random.default_rng([seed, 0]), max(10, round(48 * scale)))
    stories = [tell(s, i, np.random.default_rng([seed, 1, i])) for i, s in enumerate(students)]
    changes = {
        s.code: (MID_SEASON, "c03" if s.coach != "c03" else "c01")
        for i, s in enumerate(students)
        if i % 8 == 3
    }
    write_rosters(target, students, changes, np.random.default_rng([seed, 2]))
    frames: list[pl.DataFrame] = []
    plans: dict[str, list[Visit]] = {}
    for i, student in enumerate(students):
        rng = np.random.default_rng([seed, 3, i])
        visits = max(4, round(int(rng.integers(6, 15)) * (0.4 + 0.6 * min(scale, 1.0))))
        plan = plan_student(student, i, stories[i], changes.get(student.code), visits, rng)
        plans[student.code] = plan
        batch, rows = draw_season(plan, rng)
        for visit, at in zip(plan, rows, strict=True):
            write_plates(inbox / visit.session, visit, batch.course, at, rng)
        frames.append(_truth_frame(plan, batch))
        if progress is not None:
            progress(i + 1, len(students))
    pl.concat(frames).write_parquet(target / "planted_truth.parquet", compression="zstd")
    truth = _truth(students, stories, plans)
    (target / "planted_truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


def _truth_frame(plan: list[Visit], batch: Batch) -> pl.DataFrame:
    """One row per planted swing: keys, true metrics, planted faults."""
    pairs = [(visit, row) for visit in plan for row in visit.rows]
    keys: dict[str, Any] = {
        "session": [v.session for v, _ in pairs],
        "swing_no": pl.Series([r.no for _, r in pairs], dtype=pl.Int32),
        "student": [v.student.code for v, _ in pairs],
        "device": [v.device.name for v, _ in pairs],
        "heel_source": ["measured" if v.device.heels else "estimated" for v, _ in pairs],
        "club_family": [r.family for _, r in pairs],
        "part": [r.part for _, r in pairs],
        "pace": [r.pace for _, r in pairs],
        "drill": pl.Series([r.drill for _, r in pairs], dtype=pl.String),
    }
    metrics: dict[str, Array] = dict(batch.metrics)
    seen = np.array([v.device.name in SEES_SWAY for v, _ in pairs])
    metrics["address_sway_speed_mm_s"] = np.where(seen, metrics["address_sway_speed_mm_s"], np.nan)
    names = [[fault for fault, hit in batch.planted.items() if hit[k]] for k in range(len(pairs))]
    keys |= {"planted_faults": pl.Series(names, dtype=pl.List(pl.String)), "clean": [not n for n in names]}
    return pl.DataFrame(keys | metrics).with_columns(pl.selectors.float().fill_nan(None))


def _truth(students: list[Student], stories: list[Story], plans: dict[str, list[Visit]]) -> dict[str, Any]:
    return {"students": {s.code: {"style": s.lean} for s in students}, "expected_refusals": []}
