"""Write the demo academy: rosters, a season of deliveries, bad deliveries, and the planted truth."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from demo_academy import planted
from demo_academy.bad_deliveries import bad_sessions, bad_swings, refusal_rows
from demo_academy.deliveries import WrittenSeason, write_text, write_visits
from demo_academy.habits import Profile, invent_profile
from demo_academy.notes import fixed_lines
from demo_academy.other_deliveries import (
    write_clip_visits,
    write_loose,
    write_marked_films,
    write_note_visits,
)
from demo_academy.people import Student, invent_students
from demo_academy.rosters import write_device_checks, write_rosters
from demo_academy.season_plan import MID_SEASON, Visit, plan_student
from demo_academy.stands import ROCKING_VISITS, rocks, steady_place
from demo_academy.swings import generate_season
from warehouse.errors import CallError
from warehouse.home import Home

Progress = Callable[[int, int], None]


def check_place(home: Home) -> None:
    """Raise CallError where there is another academy."""
    if home.settings_file.exists() and not home.settings().demo:
        raise CallError(
            f"{home.path} holds an academy of its own; name another folder for the demo: --home DIR"
        )


def write_academy(
    target: Path, *, seed: int = 20260401, scale: float = 1.0, progress: Progress | None = None
) -> None:
    """Write `target`/academy.toml, inbox/…, planted_truth.parquet and planted_truth.json.

    The same seed and scale give the same bytes. `scale` < 1 makes fewer students and visits, and still has
    one of each special kind. `progress` is called with (students done, students in all).
    """
    inbox = target / "inbox"
    inbox.mkdir(parents=True, exist_ok=True)
    people = invent_people(target, seed, scale)
    written, frames = WrittenSeason(), []
    fixed_notes = fixed_lines([p.plan for p in people])
    for i, person in enumerate(people):
        batch, rows = generate_season(person.plan, person.rng)
        write_visits(inbox, i, person.plan, batch, rows, fixed_notes, written, person.rng)
        frames.append(planted.swing_rows(person.plan, batch))
        if progress is not None:
            progress(i + 1, len(people))
    students, plans = [p.student for p in people], [p.plan for p in people]
    alone = write_clip_visits(inbox, students, np.random.default_rng([seed, 4]))
    write_marked_films(inbox, students)
    noted = write_note_visits(inbox, students, np.random.default_rng([seed, 5]))
    write_loose(inbox, plans, written.loose_shots, np.random.default_rng([seed, 6]))
    refusals, damaged = _add_bad_deliveries(inbox, plans, written)
    truth = planted.season_truth(plans) | {
        "seed": seed,
        "scale": scale,
        "students": {p.student.code: planted.student_truth(p.student, p.profile, p.plan) for p in people},
        "holds": written.holds,
        "steady_places": {
            p.student.code: steady_place(i) for i, p in enumerate(people) if rocks(i, ROCKING_VISITS[0])
        },
        "clips_beside_plates": written.clips,
        "notes_only": noted,
        "expected_refusals": refusals,
    }
    rows_out = planted.all_swing_rows(frames, written.clip_truth, alone, damaged)
    rows_out.write_parquet(target / "planted_truth.parquet", compression="zstd")
    write_text(target / "planted_truth.json", json.dumps(truth, indent=1) + "\n")


@dataclass(frozen=True)
class Person:
    """One student with profile, plan, and a random stream of their own."""

    student: Student
    profile: Profile
    plan: list[Visit]
    rng: np.random.Generator


def invent_people(target: Path, seed: int, scale: float) -> list[Person]:
    """Invent the students, write the rosters, and plan each season."""
    students = invent_students(np.random.default_rng([seed, 0]), max(10, round(48 * scale)))
    changes = {
        s.code: (MID_SEASON, "c03" if s.coach != "c03" else "c01")
        for i, s in enumerate(students)
        if i % 8 == 3
    }
    write_rosters(target, students, changes, np.random.default_rng([seed, 2]))
    write_device_checks(target, np.random.default_rng([seed, 7]))
    people = []
    for i, student in enumerate(students):
        profile = invent_profile(student, i, np.random.default_rng([seed, 1, i]))
        rng = np.random.default_rng([seed, 3, i])
        plan = plan_student(student, i, profile, changes.get(student.code), _visits(scale, rng), rng)
        people.append(Person(student, profile, plan, rng))
    return people


def _visits(scale: float, rng: np.random.Generator) -> int:
    """Visits of a student: 6 to 14 at full scale."""
    return max(5, round(int(rng.integers(6, 15)) * (0.4 + 0.6 * min(scale, 1.0))))


def _add_bad_deliveries(
    inbox: Path, plans: list[list[Visit]], written: WrittenSeason
) -> tuple[list[dict[str, object]], list[tuple[str, int]]]:
    """Add the bad sessions and damage the bad swings; only in mat sessions with nothing but plate files."""
    kept = {*written.holds, *written.rocked, *written.clips, *written.events_files, *written.shots}
    mats = [v for plan in plans for v in plan if v.device.layout == "mat" and v.session not in kept]
    swings, damaged = bad_swings(inbox, mats)
    sessions = bad_sessions(inbox, [v for v in mats if (v.session, 4) not in damaged])
    return refusal_rows(sessions + swings), damaged
