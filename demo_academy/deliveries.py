"""A planned visit and its swings as a delivery folder: session.toml, plate file, events."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from demo_academy.course import Array, Course
from demo_academy.plates import plate_frame
from demo_academy.season import Visit
from warehouse.vocabulary import EVENTS


@dataclass(frozen=True)
class Extras:
    """What comes with a measured session beside its samples."""

    clip: str = ""
    hold: str = ""
    hold_rows: pl.DataFrame | None = None
    events_file: bool = False


def write_plates(
    folder: Path,
    visit: Visit,
    course: Course,
    rows: Array,
    starts: Array,
    extras: Extras,
    rng: np.random.Generator,
) -> None:
    """Write one measured session: session.toml, plate.csv or plate.parquet, and events.csv where asked."""
    folder.mkdir(parents=True, exist_ok=True)
    numbers = np.array([row.no for row in visit.rows])
    frame = plate_frame(course, rows, numbers, visit.student, visit.device, visit.rate_hz, starts, rng)
    if extras.hold_rows is not None:
        frame = pl.concat([frame, extras.hold_rows])
    if visit.device.layout == "parquet":
        frame.write_parquet(folder / "plate.parquet", compression="zstd", statistics=False)
    else:
        frame.write_csv(folder / "plate.csv")
    text = session_head(visit) + _stance(visit) + extras.clip
    for k, row in enumerate(visit.rows):
        text += swing_table(row.no, row.part, row.pace, row.club, row.drill)
        if not extras.events_file:
            text += _events(course, int(rows[k]), float(starts[k]))
    write_text(folder / "session.toml", text + extras.hold)
    if extras.events_file:
        _events_file(course, rows, numbers, starts).write_csv(folder / "events.csv")


def write_text(file: Path, text: str) -> None:
    """Write a text file with plain line ends on every system."""
    file.write_text(text, encoding="utf-8", newline="\n")


def session_head(visit: Visit, *, device: bool = True) -> str:
    """The top of session.toml."""
    lines = [
        f'session = "{visit.session}"',
        f'student = "{visit.student.code}"',
        f'coach = "{visit.coach}"',
        f"started_at = {visit.started_at.isoformat()}",
    ]
    if device:
        lines += ['club = "7-iron"', f'device = "{visit.device.name}"']
        if visit.day % 3:
            lines.append(f"body_mass_kg = {visit.student.mass_kg:.1f}")
    return "\n".join(lines) + "\n"


def _stance(visit: Visit) -> str:
    """Heel and toe points for the plates that measure across the foot; toes turned a little out."""
    if visit.device.layout != "parquet":
        return ""
    half, foot = visit.student.stance_mm / 2, visit.student.foot_mm
    return (
        f"\n[stance]\nlead_heel = [{half:.0f}, 0]\n"
        f"lead_toe = [{half + 0.17 * foot:.0f}, {0.985 * foot:.0f}]\n"
        f"trail_heel = [{-half:.0f}, 0]\ntrail_toe = [{-half - 0.09 * foot:.0f}, {0.996 * foot:.0f}]\n"
    )


def swing_table(no: int, part: str, pace: str, club: str, drill: str | None) -> str:
    """One `[[swing]]` table; what is the default is left out."""
    lines = [f"\n[[swing]]\nno = {no}"]
    if part != "baseline":
        lines.append(f'part = "{part}"')
    if drill is not None:
        lines.append(f'drill = "{drill}"')
    if pace != "full":
        lines.append(f'pace = "{pace}"')
    if club != "7-iron":
        lines.append(f'club = "{club}"')
    return "\n".join(lines) + "\n"


def _events(course: Course, row: int, start_s: float) -> str:
    lines = [f"{event} = {course.events[event][row] + start_s:.3f}" for event in EVENTS]
    return "[swing.events]\n" + "\n".join(lines) + "\n"


def _events_file(course: Course, rows: Array, numbers: Array, starts: Array) -> pl.DataFrame:
    times = np.stack([course.events[event][rows] + starts for event in EVENTS], axis=1)
    return pl.DataFrame(
        {
            "swing_no": np.repeat(numbers, len(EVENTS)),
            "event": list(EVENTS) * len(rows),
            "t_s": np.round(times.ravel(), 3),
            "clock": ["plate"] * times.size,
        }
    )
