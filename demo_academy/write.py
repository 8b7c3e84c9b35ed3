"""Write the demo academy: rosters, a season of deliveries, bad deliveries, and the planted truth."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np

from demo_academy import planted
from demo_academy.extras import write_clip_visits, write_loose, write_note_visits
from demo_academy.make import draw_season
from demo_academy.notes import special_lines
from demo_academy.refused import as_rows, bad_sessions, bad_swings
from demo_academy.rosters import write_rosters
from demo_academy.scenario import cast
from demo_academy.season import MID_SEASON, Visit, plan_student
from demo_academy.story import tell
from demo_academy.visits import Written, write_visits

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
    draws = [np.random.default_rng([seed, 3, i]) for i in range(len(students))]
    plans = [
        plan_student(s, i, stories[i], changes.get(s.code), _visits(scale, draws[i]), draws[i])
        for i, s in enumerate(students)
    ]
    special, written, frames = special_lines(plans), Written(), []
    for i, plan in enumerate(plans):
        batch, rows = draw_season(plan, draws[i])
        write_visits(inbox, i, plan, batch, rows, special, written, draws[i])
        frames.append(planted.swing_rows(plan, batch))
        if progress is not None:
            progress(i + 1, len(students))
    alone = write_clip_visits(inbox, students, np.random.default_rng([seed, 4]))
    noted = write_note_visits(inbox, students, np.random.default_rng([seed, 5]))
    write_loose(inbox, plans, written.loose_shots, np.random.default_rng([seed, 6]))
    spoilt, gone = _spoil(inbox, plans, written)
    truth = planted.season_truth({s.code: plan for s, plan in zip(students, plans, strict=True)}) | {
        "seed": seed,
        "scale": scale,
        "students": {s.code: planted.student_truth(s, stories[i], plans[i]) for i, s in enumerate(students)},
        "holds": written.holds,
        "clips_beside_plates": written.clips,
        "notes_only": noted,
        "expected_refusals": spoilt,
    }
    rows_out = planted.all_rows(frames, written.clip_truth, alone, gone)
    rows_out.write_parquet(target / "planted_truth.parquet", compression="zstd")
    text = json.dumps(truth, indent=1) + "\n"
    (target / "planted_truth.json").write_text(text, encoding="utf-8", newline="\n")


def _visits(scale: float, rng: np.random.Generator) -> int:
    """Visits of a student: 6 to 14 at full scale."""
    return max(5, round(int(rng.integers(6, 15)) * (0.4 + 0.6 * min(scale, 1.0))))


def _spoil(
    inbox: Path, plans: list[list[Visit]], written: Written
) -> tuple[list[dict[str, object]], list[tuple[str, int]]]:
    """Add the bad sessions and spoil the bad swings; both only where the plain mat's files stand alone."""
    kept = {*written.holds, *written.clips, *written.events_files, *written.shots}
    mats = [v for plan in plans for v in plan if v.device.layout == "mat" and v.session not in kept]
    swings, gone = bad_swings(inbox, mats)
    sessions = bad_sessions(inbox, [v for v in mats if (v.session, 4) not in gone])
    return as_rows(sessions + swings), gone
