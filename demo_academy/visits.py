"""Write one student's season of measured visits, with the clips, holds, notes and shots that come along."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import polars as pl

from demo_academy.clips import ClipShot, clip_beside, clip_frame
from demo_academy.course import Array
from demo_academy.deliveries import Extras, write_plates
from demo_academy.films import Look, write_film
from demo_academy.holds import holds_frame
from demo_academy.notes import Line, frame, session_lines, shot_frame
from demo_academy.season import Visit
from demo_academy.swings import Batch

FILMED_VISITS, FILMED_SWINGS = 2, 2
WITH_EVERY_BALL = ("s003", "s013", "s023", "s033")


@dataclass
class Written:
    """What writing a season leaves for the truth: clip truths, loose shots, sessions by kind."""

    clip_truth: list[pl.DataFrame] = field(default_factory=list)
    holds: list[str] = field(default_factory=list)
    clips: list[str] = field(default_factory=list)
    events_files: list[str] = field(default_factory=list)
    shots: list[str] = field(default_factory=list)
    loose_shots: list[pl.DataFrame] = field(default_factory=list)


def write_visits(
    inbox: Path, number: int, plan: list[Visit], batch: Batch, rows: list[Array],
    special: dict[str, list[Line]], written: Written, rng: np.random.Generator,
) -> None:  # fmt: skip
    """Write the visits of student `number` into the inbox, noting in `written` what the truth must know."""
    for order, (visit, at) in enumerate(zip(plan, rows, strict=True)):
        folder = inbox / visit.session
        folder.mkdir(parents=True, exist_ok=True)
        starts = np.round(rng.integers(0, int(4 * visit.rate_hz), len(at)) / visit.rate_hz, 4)
        clip = _clip(folder, visit, batch, at, starts, written, rng) if _filmed(number, order, visit) else ""
        hold, hold_rows = "", None
        if visit.device.layout in {"mat", "parquet"} and order == 3 and number % 3 == 0:
            hold, hold_rows = holds_frame(visit, rng)
            written.holds.append(visit.session)
        in_file = not clip and order == 1 and number % 5 == 2
        if in_file:
            written.events_files.append(visit.session)
        write_plates(folder, visit, batch.course, at, starts, Extras(clip, hold, hold_rows, in_file), rng)
        lines = session_lines(visit, _rates(batch, at), rng) + special.get(visit.session, [])
        if lines:
            frame(lines).write_csv(folder / "notes.csv")
        _shots(folder, visit, batch, at, written, rng)


def _filmed(number: int, order: int, visit: Visit) -> bool:
    """A few visits are filmed beside the plates."""
    return order == 2 and number % 12 in {0, 2, 6} and visit.device.layout in {"mat", "imperial"}


def _clip(
    folder: Path,
    visit: Visit,
    batch: Batch,
    at: Array,
    starts: Array,
    written: Written,
    rng: np.random.Generator,
) -> str:
    """Write clip.csv, or for the first visits the films of two swings; returns the `[clip]` table."""
    student = visit.student
    right, done = student.handed == "right", len(written.clips)
    fps = 120.0 if done % 2 and done >= FILMED_VISITS else 60.0
    shot = ClipShot(fps, student.foot_mm + 25, "down_line", 0.95, right)
    rises, begin, metrics = clip_beside(batch.course, at, shot, rng)
    numbers = np.array([row.no for row in visit.rows])
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
    return shot.toml()


def _film(path: Path, rise: Array, shot: ClipShot, stance_mm: float, seed: int) -> None:
    """Draw one swing's film from its heel rises (2, F), mm."""
    look, times = Look(body=True, gaudy=0.15, seed=seed), np.arange(rise.shape[1]) / shot.fps
    write_film(path, times, rise, times, shot, stance_mm, look)


def _rates(batch: Batch, at: Array) -> dict[str, float]:
    """Share of a visit's swings with each fault."""
    return {fault: float(hit[at].mean()) for fault, hit in batch.planted.items()}


def _shots(
    folder: Path, visit: Visit, batch: Batch, at: Array, written: Written, rng: np.random.Generator
) -> None:
    """Ball results for some visits, and all of a few students: in the folder, or for the loose range file."""
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
