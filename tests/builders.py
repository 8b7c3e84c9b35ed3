"""Builders of small invented academies, people and samples for the tests."""

import resource
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from ingest.load import load
from models.build import refresh
from warehouse.home import Home
from warehouse.invented import people_digest
from warehouse.store import Writer, writer
from warehouse.traces import SessionTrace

SETTINGS = """\
name = "The Hollow Oak academy"
time_zone = "Europe/Dublin"

[device.mat]
kind = "pressure_mat"

[device.odd]
kind = "force_plates"
[device.odd.columns]
t_s = { column = "Clock", unit = "furlongs" }

[device.imperial]
kind = "force_plates"
[device.imperial.columns]
swing_no = { column = "Rep" }
t_s = { column = "Clock", unit = "ms" }
left_n = { column = "L Force", unit = "lbf" }
right_n = { column = "R Force", unit = "lbf" }
left_along_pct = { column = "L Pos", unit = "in" }
right_along_pct = { column = "R Pos", unit = "in" }
"""

PEOPLE = [
    ("h1", "head_coach", "Runa Oake", None, None),
    ("c1", "coach", "Bram Tolliver", None, None),
    ("c2", "coach", "Ines Marrow", None, None),
    ("s1", "student", "Petra Quill", "1990-02-03", "right"),
    ("s2", "student", "Odo Fenn", "2013-06-01", "left"),
    ("s3", "student", "Mina Harrow", "1971-11-30", "right"),
    ("g2", "guardian", "Tess Fenn", None, None),
]


def make_home(path: Path, settings: str = SETTINGS) -> Home:
    """A home folder with academy.toml."""
    path.mkdir(parents=True, exist_ok=True)
    (path / "academy.toml").write_text(settings, encoding="utf-8")
    home = Home(path)
    home.make_folders()
    return home


@contextmanager
def no_large_files() -> Iterator[None]:
    """A disk that takes files of up to 512 KB only, as one does that is nearly full."""
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1 << 19, usual[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)


def copied(made: Path, home: Home) -> Home:
    """A home that becomes the copy of one that was made before; a copy takes a fiftieth of a load."""
    shutil.copytree(made, home.path, symlinks=True, dirs_exist_ok=True)
    return home


def call_invented(home: Home) -> None:
    """Say in academy.toml that everyone on the roster is of the demo, as the demo itself does."""
    with writer(home) as w:
        people = w.sql("SELECT person, display_name, born FROM academy.person").rows()
    text = home.settings_file.read_text(encoding="utf-8")
    line = f'demo = true\ndemo_people = "{people_digest(people)}"\n'
    home.settings_file.write_text(text.replace("demo = true\n", line, 1), encoding="utf-8")


def load_all(home: Home, paths: list[Path]) -> list[str]:
    """Load deliveries, work out what was touched, publish; returns why anything was refused."""
    with writer(home) as w:
        report = load(home, w, paths, progress=lambda *_: None)
        refresh(home, w, progress=lambda *_: None)
        w.publish()
    return [refusal.reason for refusal in report.refused]


def people_frame() -> pl.DataFrame:
    """Rows of academy.person: a head coach, two coaches, three students, one guardian."""
    return pl.DataFrame(
        [
            {
                "person": person,
                "role": role,
                "display_name": name,
                "born": born,
                "handed": handed,
                "guardian_of": ["s2"] if role == "guardian" else [],
            }
            for person, role, name, born, handed in PEOPLE
        ]
    ).with_columns(pl.col("born").str.to_date())


def coaching_frame() -> pl.DataFrame:
    """s1 and s2 with c1, s3 with c2."""
    return pl.DataFrame(
        {"student": ["s1", "s2", "s3"], "coach": ["c1", "c1", "c2"], "from": ["2026-01-01"] * 3}
    ).with_columns(pl.col("from").str.to_date())


def session_frame(session: str, student: str, coach: str = "c1", **more: Any) -> pl.DataFrame:
    """One row of academy.session."""
    row = {
        "session": session,
        "student": student,
        "coach": coach,
        "started_at": "2026-05-05T10:00:00",
        "day": "2026-05-05",
        "season": None,
        "device": "mat",
        "delivery": "d-" + session,
        "has_plate": True,
        "has_clip": False,
        "feet_checked": False,
        "reduced": True,
        **more,
    }
    return pl.DataFrame([row]).with_columns(
        pl.col("started_at").str.to_datetime(), pl.col("day").str.to_date(), pl.col("season").cast(pl.String)
    )


def note_frame(note: str, student: str, *, shared: bool, **more: Any) -> pl.DataFrame:
    """One row of academy.note."""
    row = {
        "note": note,
        "student": student,
        "at": "2026-05-05T10:00:00",
        "day": "2026-05-05",
        "author": "c1",
        "kind": "plan",
        "text": "Slow rehearsals first.",
        "shared": shared,
        "delivery": "d-notes",
        "loose": True,
        **more,
    }
    return pl.DataFrame([row]).with_columns(pl.col("at").str.to_datetime(), pl.col("day").str.to_date())


def fill(writer: Writer) -> None:
    """The small academy: people, coaching, one session a student, two notes each."""
    writer.append("academy.person", people_frame())
    writer.append("academy.coaching", coaching_frame())
    for student, coach in (("s1", "c1"), ("s2", "c1"), ("s3", "c2")):
        writer.append("academy.session", session_frame("v-" + student, student, coach))
        writer.append("academy.note", note_frame("open-" + student, student, shared=True))
        writer.append("academy.note", note_frame("kept-" + student, student, shared=False))


def make_trace(
    session: str = "v-s1", swings: int = 3, samples: int = 200, rate_hz: float = 250.0
) -> SessionTrace:
    """Samples of a few swings: slow waves, enough to tell columns and swings apart."""
    n = swings * samples
    wave = np.sin(np.arange(n) / 40.0)
    return SessionTrace(
        session=session,
        swing_no=np.arange(1, swings + 1, dtype=np.int32),
        offsets=np.arange(0, n + 1, samples, dtype=np.int64),
        rate_hz=np.full(swings, rate_hz),
        t0_s=np.linspace(0.0, 0.2, swings),
        columns={
            "lead_n": (400 + 100 * wave).astype(np.float32),
            "trail_n": (400 - 100 * wave).astype(np.float32),
            "lead_along_pct": (50 + 5 * wave).astype(np.float32),
            "trail_along_pct": np.where(np.arange(n) % 7 == 0, np.nan, 50 - 5 * wave).astype(np.float32),
        },
    )
