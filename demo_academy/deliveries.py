"""One student's season of measured visits as delivery folders, with clips, holds, notes and shots."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
import polars as pl

from demo_academy.clips import ClipShot, clip_beside, clip_frame
from demo_academy.curves import Array, SwingCurves
from demo_academy.films import Look, write_film
from demo_academy.notes import Line, note_table, observed_lines, session_lines, shot_frame
from demo_academy.people import Student
from demo_academy.plates import holds_frame, plate_frame, rocking_frame, rocks
from demo_academy.season_plan import Visit
from demo_academy.swings import Batch
from warehouse.vocabulary import EVENTS


@dataclass(frozen=True)
class Attachments:
    """What a measured session has besides its samples."""

    clip: str = ""
    on_film_s: Mapping[int, float] = field(default_factory=dict)  # impact by swing, as picked on its film
    hold: str = ""
    hold_rows: pl.DataFrame | None = None
    events_file: bool = False


def write_plates(
    folder: Path, visit: Visit, curves: SwingCurves, rows: Array, starts: Array, extras: Attachments,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """Write one measured session: session.toml, plate.csv or plate.parquet, and events.csv where asked."""
    numbers = np.array([row.no for row in visit.swings])
    frame = plate_frame(curves, rows, numbers, visit.student, visit.device, visit.rate_hz, starts, rng)
    if extras.hold_rows is not None:
        frame = pl.concat([frame, extras.hold_rows])
    if visit.device.layout == "parquet":
        frame.write_parquet(folder / "plate.parquet", compression="zstd", statistics=False)
    else:
        frame.write_csv(folder / "plate.csv")
    text = _measured_head(visit) + _stance(visit) + extras.clip
    for row, at, start_s in zip(visit.swings, rows, starts, strict=True):
        text += swing_table(row.no, row.part, row.pace, row.club, row.drill)
        if not extras.events_file:
            times = (f"{event} = {curves.events[event][at] + start_s:.3f}\n" for event in EVENTS)
            text += "[swing.events]\n" + "".join(times)
        if row.no in extras.on_film_s:
            text += f"[swing.clip_events]\nimpact = {extras.on_film_s[row.no]:.4f}\n"
    write_text(folder / "session.toml", text + extras.hold)
    if extras.events_file:
        _events_file(curves, rows, numbers, starts).write_csv(folder / "events.csv")


def write_text(file: Path, text: str) -> None:
    """Write a text file with the same line ends on every system, in a folder that is made for it."""
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8", newline="\n")


def _measured_head(visit: Visit) -> str:
    """The top of session.toml of a measured session."""
    mass = f"body_mass_kg = {visit.student.mass_kg:.1f}\n" if visit.day % 3 else ""
    head = session_head(visit.session, visit.student, visit.coach, visit.started_at)
    return head + f'club = "7-iron"\ndevice = "{visit.device.name}"\n' + mass


def session_head(session: str, student: Student, coach: str, started_at: datetime) -> str:
    """The top of session.toml."""
    return (
        f'session = "{session}"\nstudent = "{student.code}"\ncoach = "{coach}"\n'
        f"started_at = {started_at.isoformat()}\n"
    )


def _stance(visit: Visit) -> str:
    """Heel and toe points for the plates that measure across the foot; toes turned out a little."""
    if visit.device.layout != "parquet":
        return ""
    half, foot = visit.student.stance_mm / 2, visit.student.foot_mm
    return (
        f"\n[stance]\nlead_heel = [{half:.0f}, 0]\n"
        f"lead_toe = [{half + 0.17 * foot:.0f}, {0.985 * foot:.0f}]\n"
        f"trail_heel = [{-half:.0f}, 0]\ntrail_toe = [{-half - 0.09 * foot:.0f}, {0.996 * foot:.0f}]\n"
    )


def swing_table(no: int, part: str, pace: str, club: str, drill: str | None) -> str:
    """One `[[swing]]` table; defaults are left out."""
    keys = (
        ("part", part, "baseline"),
        ("drill", drill, None),
        ("pace", pace, "full"),
        ("club", club, "7-iron"),
    )
    given = "".join(f'{key} = "{value}"\n' for key, value, usual in keys if value != usual)
    return f"\n[[swing]]\nno = {no}\n{given}"


def _events_file(curves: SwingCurves, rows: Array, numbers: Array, starts: Array) -> pl.DataFrame:
    times = np.stack([curves.events[event][rows] + starts for event in EVENTS], axis=1)
    return pl.DataFrame(
        {"swing_no": np.repeat(numbers, len(EVENTS)), "event": list(EVENTS) * len(rows),
         "t_s": np.round(times.ravel(), 3), "clock": ["plate"] * times.size}
    )  # fmt: skip


FILMED_VISITS, FILMED_SWINGS = 2, 2
WITH_EVERY_BALL = ("s003", "s013", "s023", "s033")


@dataclass
class WrittenSeason:
    """What was written, for the planted truth: clip truths, shots outside sessions, sessions by kind."""

    clip_truth: list[pl.DataFrame] = field(default_factory=list)
    holds: list[str] = field(default_factory=list)
    rocked: list[str] = field(default_factory=list)
    clips: list[str] = field(default_factory=list)
    events_files: list[str] = field(default_factory=list)
    shots: list[str] = field(default_factory=list)
    loose_shots: list[pl.DataFrame] = field(default_factory=list)


def write_visits(
    inbox: Path, number: int, plan: list[Visit], batch: Batch, rows: list[Array],
    fixed_notes: dict[str, list[Line]], written: WrittenSeason, rng: np.random.Generator,
) -> None:  # fmt: skip
    """Write the visits of student `number` into the inbox, recording in `written` what the truth needs."""
    for order, (visit, at) in enumerate(zip(plan, rows, strict=True)):
        folder = inbox / visit.session
        folder.mkdir(parents=True, exist_ok=True)
        starts = np.round(rng.integers(0, int(4 * visit.rate_hz), len(at)) / visit.rate_hz, 4)
        clip, on_film_s = "", dict[int, float]()
        if _filmed(number, order, visit):
            clip, on_film_s = _clip(folder, visit, batch, at, starts, written, rng)
        hold, hold_rows = "", None
        if visit.device.layout in {"mat", "parquet"} and order == 3 and number % 3 == 0:
            hold, hold_rows = holds_frame(visit, rng)
            written.holds.append(visit.session)
        own = np.random.default_rng([number, visit.day, 5])  # what came later draws from chances of its own
        if rocks(number, order):
            more, more_rows = rocking_frame(visit, number, own)
            hold += more
            hold_rows = more_rows if hold_rows is None else pl.concat([hold_rows, more_rows])
            written.rocked.append(visit.session)
        in_file = not clip and order == 1 and number % 5 == 2
        if in_file:
            written.events_files.append(visit.session)
        extras = Attachments(clip, on_film_s, hold, hold_rows, in_file)
        write_plates(folder, visit, batch.curves, at, starts, extras, rng)
        rates = _rates(batch, at)
        lines = session_lines(visit, rates, rng) + fixed_notes.get(visit.session, [])
        lines += observed_lines(visit, number, rates, own)
        if lines:
            note_table(lines).write_csv(folder / "notes.csv")
        _shots(folder, visit, batch, at, written, rng)


def _filmed(number: int, order: int, visit: Visit) -> bool:
    """A few visits are filmed as well as measured."""
    return order == 2 and number % 12 in {0, 2, 6} and visit.device.layout in {"mat", "imperial"}


def _clip(
    folder: Path, visit: Visit, batch: Batch, at: Array, starts: Array, written: WrittenSeason,
    rng: np.random.Generator,
) -> tuple[str, dict[int, float]]:  # fmt: skip
    """Write clip.csv, or for the first visits the films of two swings.

    Returns the `[clip]` table, and for each filmed swing its impact on the film, to the picture.
    """
    student = visit.student
    right, done = student.handed == "right", len(written.clips)
    fps = 120.0 if done % 2 and done >= FILMED_VISITS else 60.0
    shot = ClipShot(fps, student.foot_mm + 25, "down_line", 0.95, right)
    rises, begin, metrics = clip_beside(batch.curves, at, shot, rng)
    numbers = np.array([row.no for row in visit.swings])
    keys = {"session": [visit.session] * len(at), "swing_no": numbers.astype(np.int32)}
    truth = pl.DataFrame(keys | {"clip_offset_s": starts + begin} | metrics)
    if done < FILMED_VISITS:
        truth = truth.head(FILMED_SWINGS)
        for no, rise in zip(numbers, rises[:FILMED_SWINGS], strict=False):
            _film(folder / f"clip-{no}.mp4", rise, shot, student.stance_mm, done)
    else:
        clip_frame(rises, numbers, shot, student.stance_mm, rng).write_csv(folder / "clip.csv")
    written.clips.append(visit.session)
    written.clip_truth.append(truth)
    on_film = np.round((batch.curves.events["impact"][at] - begin) * fps) / fps
    filmed = zip(numbers.tolist(), on_film.tolist(), strict=True)
    return shot.toml(), dict(list(filmed)[: len(truth)])


def _film(path: Path, rise: Array, shot: ClipShot, stance_mm: float, seed: int) -> None:
    """Draw one swing's film from its heel rises (2, F), mm."""
    look, times = Look(body=True, saturation=0.15, seed=seed), np.arange(rise.shape[1]) / shot.fps
    write_film(path, times, rise, times, shot, stance_mm, look)


def _rates(batch: Batch, at: Array) -> dict[str, float]:
    """Share of a visit's swings with each fault."""
    return {fault: float(hit[at].mean()) for fault, hit in batch.planted.items()}


def _shots(
    folder: Path, visit: Visit, batch: Batch, at: Array, written: WrittenSeason, rng: np.random.Generator
) -> None:
    """Ball results for some visits, and all of a few students: in the folder or for the range file."""
    if rng.random() > 0.15 and visit.student.code not in WITH_EVERY_BALL:
        return
    metrics = batch.metrics
    written.shots.append(visit.session)
    shots = shot_frame(
        visit, metrics["impact_lead_share_pct"][at], metrics["mid_down_lead_share_pct"][at], rng
    )
    if rng.random() < 0.2 or not written.loose_shots:
        written.loose_shots.append(shots)
    else:
        shots.write_csv(folder / "shots.csv")
