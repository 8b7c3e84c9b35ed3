"""Write the demo academy: rosters, a season with and without plates, bad deliveries, the planted truth."""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl

from demo_academy import planted
from demo_academy.bad_deliveries import bad_sessions, bad_swings
from demo_academy.clips import ClipShot, clip_alone, clip_frame
from demo_academy.curves import Array
from demo_academy.deliveries import WrittenSeason, session_head, swing_table, write_text, write_visits
from demo_academy.habits import DRAWN_BETWEEN, HABITS, Profile, invent_profile
from demo_academy.notes import Line, fixed_lines, goal_lines, note_table, practice_lines, reference_lines
from demo_academy.people import SEASON, Student, invent_students
from demo_academy.plates import ROCKING_VISITS, rocks, steady_place
from demo_academy.rosters import write_device_checks, write_rosters
from demo_academy.season_plan import MID_SEASON, ZONE, Visit, plan_student
from demo_academy.shapes import Bodies, event_times, generate_targets
from demo_academy.swings import generate_season
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.vocabulary import EVENTS

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
    lots = draw_lots(students, np.random.default_rng([seed, 8]))
    people = []
    for i, student in enumerate(students):
        profile = invent_profile(student, i, np.random.default_rng([seed, 1, i]))
        rng = np.random.default_rng([seed, 3, i])
        plan = plan_student(
            student, i, profile, changes.get(student.code), _visits(scale, rng), lots[student.code], rng
        )
        people.append(Person(student, profile, plan, rng))
    return people


def draw_lots(students: list[Student], rng: np.random.Generator) -> dict[str, tuple[str, str]]:
    """Student → the drill drawn for them and the other of the two; of every two of a coach's one each way."""
    lots: dict[str, tuple[str, str]] = {}
    for coach in sorted({student.coach for student in students}):
        own = [student.code for student in students if student.coach == coach]
        for first in range(0, len(own), 2):
            one, other = rng.permutation(DRAWN_BETWEEN).tolist()
            lots |= dict(zip(own[first : first + 2], ((one, other), (other, one)), strict=False))
    return lots


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
    return [asdict(one) for one in sessions + swings], damaged


def write_clip_visits(inbox: Path, students: list[Student], rng: np.random.Generator) -> list[pl.DataFrame]:
    """Clips-only visits of some students, along the target line or face on; returns their truth rows."""
    out = []
    for number, student in enumerate(students):
        if number % 6 != 4:
            continue
        for turn in range(3):
            day = SEASON[1] + timedelta(days=17 + 56 * turn + number % 5)
            started = datetime.combine(day, time(8, 10 + 5 * (number % 6)), ZONE)
            facing = turn == 2
            lifts = 0.0 if facing else 0.6 if number % 12 == 4 else 0.1
            out.append(_clip_visit(inbox, student, started, facing, lifts, rng))
    return out


def _clip_visit(
    inbox: Path, student: Student, started: datetime, facing: bool, lifts: float, rng: np.random.Generator  # noqa: FBT001
) -> pl.DataFrame:  # fmt: skip
    count = int(rng.integers(4, 7))
    even = np.ones(count)
    bodies = Bodies(even, even, even, even, 0 * even, 0 * even, even > 2)
    events = event_times(generate_targets({d.name: d.mean * even for d in HABITS}, bodies, rng), bodies, rng)
    events = {name: np.round(times - 1.0, 3) for name, times in events.items()}
    events["address"] = np.maximum(events["address"], 0.2)
    high = rng.random(count) < lifts
    high[0] |= lifts > 0.5
    fps, view = (120.0, "face_on") if facing else (60.0, "down_line")
    shot = ClipShot(fps, student.foot_mm + 25, view, 0.95, student.handed == "right")
    rises, metrics = clip_alone(events, high, shot, rng)
    session = f"{started.date().isoformat()}-{student.code}-v"
    folder = inbox / session
    folder.mkdir(parents=True, exist_ok=True)
    numbers = np.arange(1, count + 1)
    clip_frame(rises, numbers, shot, student.stance_mm, rng).write_csv(folder / "clip.csv")
    text = session_head(session, student, student.coach, started) + 'club = "7-iron"\n' + shot.toml()
    for k, no in enumerate(numbers):
        text += swing_table(int(no), "baseline", "full", "7-iron", None) + "[swing.clip_events]\n"
        text += "".join(f"{event} = {events[event][k]:.3f}\n" for event in EVENTS)
    write_text(folder / "session.toml", text)
    faults = pl.Series([["lead_heel_high"] if h else [] for h in high], dtype=pl.List(pl.String))
    return _truth_rows(session, student, numbers, faults, metrics)


def write_marked_films(inbox: Path, students: list[Student]) -> None:
    """Two players' ordinary films, marked by eye: the order of their heels improves from one to the next."""
    for number, student in enumerate(students[1:3]):
        for turn, lead_down in enumerate(("impact", "mid_down")):
            started = datetime.combine(
                SEASON[1] + timedelta(days=31 + 40 * turn + number), time(12, 15), ZONE
            )
            session = f"{started.date().isoformat()}-{student.code}-film"
            heels = {"address": "down,down", "top": "up,down", "mid_down": "up,down", "impact": "up,up",
                     "finish": "down,up"}  # fmt: skip
            if lead_down == "mid_down":
                heels |= {"mid_down": "down,down", "impact": "down,up"}
            times = {"address": 0.4, "top": 1.42, "mid_down": 1.6, "impact": 1.68, "finish": 2.3}
            lines = "".join(f"1,{event},{times[event]},clip,{seen}\n" for event, seen in heels.items())
            head = session_head(session, student, student.coach, started)
            write_text(inbox / session / "session.toml", head + 'club = "7-iron"\n\n[[swing]]\nno = 1\n')
            write_text(
                inbox / session / "events.csv", "swing_no,event,t_s,clock,lead_heel,trail_heel\n" + lines
            )


def _truth_rows(
    session: str, student: Student, numbers: Array, faults: pl.Series, metrics: dict[str, Array]
) -> pl.DataFrame:
    return pl.DataFrame(
        {"session": [session] * len(numbers), "swing_no": numbers.astype(np.int32)}
        | {"planted_faults": faults, "clean": faults.list.len() == 0}
        | metrics
    ).with_columns(
        student=pl.lit(student.code), heel_source=pl.lit("none"), club_family=pl.lit("iron"),
        part=pl.lit("baseline"), pace=pl.lit("full"),
    )  # fmt: skip


def write_note_visits(inbox: Path, students: list[Student], rng: np.random.Generator) -> list[str]:
    """Lessons of which only notes were kept, the last one after the season's end; returns their sessions."""
    out = []
    days = [SEASON[1] + timedelta(days=23 + 31 * k) for k in range(5)] + [date(2026, 10, 8)]
    for k, day in enumerate(days):
        student = students[(5 * k + 1) % len(students)]
        started = datetime.combine(day, time(19, 20), ZONE)
        session = f"{day.isoformat()}-{student.code}-n"
        write_text(inbox / session / "session.toml", session_head(session, student, student.coach, started))
        base: Line = {"session": session, "student": student.code, "author": student.coach, "shared": True}
        lines = [
            base | {"at": _after(started, 10), "kind": "saw", "code": "rocking_start",
                    "grade": int(rng.integers(1, 3)), "shared": False},
            base | {"at": _after(started, 40), "kind": "plan",
                    "text": "Short game today; back on the plates next time."},
        ]  # fmt: skip
        note_table(lines).write_csv(inbox / session / "notes.csv")
        out.append(session)
    return out


def _after(started: datetime, minutes: int) -> str:
    return (started + timedelta(minutes=minutes)).isoformat()


def write_loose(
    inbox: Path, plans: list[list[Visit]], shots: list[pl.DataFrame], rng: np.random.Generator
) -> None:
    """Home practice by month, reference swings, goals and one range file, all outside sessions."""
    months: dict[str, list[Line]] = {}
    for plan in plans:
        for visit, following in pairwise(plan):
            for line in practice_lines(visit, following.started_at, rng):
                months.setdefault(str(line["at"])[:7], []).append(line)
    for month, lines in sorted(months.items()):
        folder = inbox / f"practice-{month}"
        folder.mkdir(parents=True, exist_ok=True)
        note_table(sorted(lines, key=lambda line: (line["at"], line["student"]))).write_csv(
            folder / "notes.csv"
        )
    for name, lines in (("references-2026", reference_lines(plans)), ("goals-2026", goal_lines(plans))):
        (inbox / name).mkdir(parents=True, exist_ok=True)
        note_table(lines).write_csv(inbox / name / "notes.csv")
    if shots:
        (inbox / "range-2026").mkdir(parents=True, exist_ok=True)
        pl.concat(shots).write_csv(inbox / "range-2026" / "shots.csv")
