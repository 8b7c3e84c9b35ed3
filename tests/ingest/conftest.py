"""A small invented academy for the tests of ingest, and builders of its deliveries."""

import shutil
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ingest.load import LoadReport, load
from warehouse.home import Home
from warehouse.store import Writer, writer
from warehouse.tables import table_names
from warehouse.traces import read_trace, trace_path

SETTINGS = """\
name = "The Bracken Hill academy"
time_zone = "Europe/Dublin"

[device.mat]
kind = "pressure_mat"

[device.imperial]
kind = "force_plates"
rate_hz = 200
[device.imperial.columns]
swing_no = { column = "Rep" }
t_s = { column = "Clock", unit = "ms" }
left_n = { column = "L Force", unit = "lbf" }
right_n = { column = "R Force", unit = "lbf" }
left_along_pct = { column = "L Pos", unit = "in" }
right_along_pct = { column = "R Pos", unit = "in" }
"""
ROSTER = {
    "people.csv": """\
person,role,display_name,born,handed,foot_length_mm,level,guardian_of,joined,left
h1,head_coach,Wren Alder,,,,,,2025-01-01,
c1,coach,Piers Loam,,,,,,2025-01-01,
s1,student,Ada Fennimore,1988-02-03,right,250,club,,2025-03-01,
s2,student,Tam Brackley,2012-05-06,left,240,junior,,2025-03-01,
s3,student,Ivo Marsh,1960-01-01,,,club,,2025-03-01,
g2,guardian,Nell Brackley,,,,,s2,2025-03-01,
""",
    "drills.csv": """\
drill,name,aim,how,cautions,min_age
d1,Slow start,rocking_start,Start in slow motion.,,
d2,Step through,late_crossing,Step to the target.,Clear space.,10
""",
    "seasons.csv": "season,from,to\n2026,2026-04-01,2026-09-30\n",
    "coaching.csv": "student,coach,from,to\ns1,c1,2026-01-01,\ns2,c1,2026-01-01,\n",
    "consents.csv": """\
student,given_by,purpose,from,to
s1,s1,measure,2026-01-01,
s1,s1,film,2026-01-01,
s2,g2,measure,2026-01-01,
s3,s3,measure,2026-01-01,
""",
}
EVENTS = {"address": 0.2, "takeaway": 0.4, "top": 1.2, "impact": 1.5, "finish": 1.9}


def toml(
    session: str = "v1",
    *,
    student: str = "s1",
    swings: int | list[int] = 2,
    device: str | None = "mat",
    started_at: str = "2026-05-05T10:00:00+01:00",
    head: str = "",
    more: str = "",
    events: dict[str, float] | None = None,
) -> str:
    """A session.toml."""
    numbers = range(1, swings + 1) if isinstance(swings, int) else swings
    lines = [f'session = "{session}"', f'student = "{student}"', 'coach = "c1"', f"started_at = {started_at}"]
    lines += ['club = "7-iron"'] + ([f'device = "{device}"'] if device else [])
    text = "\n".join(lines) + f"\n{head}\n"
    for no in numbers:
        marks = EVENTS if events is None else events
        text += f"\n[[swing]]\nno = {no}\n[swing.events]\n"
        text += "".join(f"{name} = {value}\n" for name, value in marks.items())
    return text + more


def plate(
    swings: int | list[int] = 2, *, rate_hz: float = 100.0, seconds: float = 2.0, start_s: float = 0.0
) -> pl.DataFrame:
    """Rows of plate.csv: smooth loads of a 70 kg golfer, each swing a little different."""
    numbers = range(1, swings + 1) if isinstance(swings, int) else swings
    n = round(rate_hz * seconds) + 1
    t = np.arange(n) / rate_hz
    frames = []
    for no in numbers:
        share = 0.5 + 0.3 * np.sin(2 * t + no)
        frames.append(
            pl.DataFrame(
                {
                    "swing_no": np.full(n, no),
                    "t_s": np.round(start_s + t, 6),
                    "lead_n": np.round(686 * share, 3),
                    "trail_n": np.round(686 * (1 - share), 3),
                    "lead_along_pct": np.round(50 + 20 * np.sin(t + no), 3),
                    "trail_along_pct": np.round(48 + 20 * np.cos(t + no), 3),
                }
            )
        )
    return pl.concat(frames)


def deliver(folder: Path, sheet: str, frame: pl.DataFrame | None = None, **files: str | bytes) -> Path:
    """Write a session's folder; `files` by name with a double underscore for the dot (notes__csv=…)."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "session.toml").write_text(sheet, encoding="utf-8")
    if frame is not None:
        frame.write_csv(folder / "plate.csv")
    for name, content in files.items():
        data = content.encode() if isinstance(content, str) else content
        (folder / name.replace("__", ".")).write_bytes(data)
    return folder


class Academy:
    """A home, and what tests do with it: drop, load, look."""

    def __init__(self, home: Home) -> None:
        self.home = home

    @property
    def inbox(self) -> Path:
        return self.home.inbox

    def roster(self, **changes: str | None) -> None:
        """Put the roster into the inbox; `people="…"` writes another people.csv, None leaves it out."""
        for file, usual in ROSTER.items():
            text = changes.get(file.removesuffix(".csv"), usual)
            if text is not None:
                (self.inbox / file).write_text(text, encoding="utf-8")

    def load(self, *paths: Path) -> LoadReport:
        with writer(self.home) as w:
            return load(self.home, w, paths)

    def with_writer(self, use):
        with writer(self.home) as w:
            return use(self.home, w)

    def twin(self, path: Path) -> Home:
        """A second home with the same academy.toml and filed deliveries, to replay them into."""
        home = Home(path)
        home.path.mkdir()
        home.settings_file.write_bytes(self.home.settings_file.read_bytes())
        home.filed.symlink_to(self.home.filed)
        return home

    def sql(self, query: str, params: list | None = None) -> pl.DataFrame:
        with writer(self.home) as w:
            return w.sql(query, params)

    def tables(self, *, without: tuple[str, ...] = (), times: bool = False) -> dict[str, list[str]]:
        """Every row of every academy table; when things were received is left out unless `times`."""
        with writer(self.home) as w:
            return self._rows(w, without, times=times)

    @staticmethod
    def _rows(w: Writer, without: tuple[str, ...], *, times: bool) -> dict[str, list[str]]:
        found = {}
        for name in table_names():
            if name.startswith("academy.") and name not in without:
                frame = w.sql(f"SELECT * FROM {name}")
                if not times:
                    frame = frame.drop(
                        "received_at", "at" if name == "academy.refusal" else "received_at", strict=False
                    )
                found[name] = sorted(map(repr, frame.rows()))
        return found

    def trace(self, session: str, season: str | None = "2026"):
        return read_trace(trace_path(self.home, season, session))

    def left_in_inbox(self) -> list[str]:
        return sorted(p.relative_to(self.inbox).as_posix() for p in self.inbox.rglob("*"))

    def waiting(self) -> list[str]:
        return sorted(p.name for p in self.home.refused.iterdir())


@pytest.fixture
def bare(tmp_path: Path) -> Academy:
    """A home with settings and nothing else."""
    return make_academy(tmp_path / "academy")


@pytest.fixture(scope="session")
def with_roster(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home whose roster is loaded, for tests to copy: a copy takes a fiftieth of a load."""
    made = make_academy(tmp_path_factory.mktemp("with_roster") / "academy")
    made.roster()
    assert made.load().refused == []
    return made.home.path


@pytest.fixture
def academy(bare: Academy, with_roster: Path) -> Academy:
    """A home of the test's own whose roster is loaded."""
    shutil.copytree(with_roster, bare.home.path, dirs_exist_ok=True)
    return bare


def make_academy(path: Path, settings: str = SETTINGS) -> Academy:
    path.mkdir(parents=True)
    (path / "academy.toml").write_text(settings, encoding="utf-8")
    home = Home(path.resolve())
    home.make_folders()
    return Academy(home)


class Made:
    """The builders, as one fixture: tests are not a package and can't import each other."""

    toml = staticmethod(toml)
    plate = staticmethod(plate)
    deliver = staticmethod(deliver)
    make_academy = staticmethod(make_academy)
    settings = SETTINGS
    roster = ROSTER
    events = EVENTS


@pytest.fixture(scope="session")
def made() -> Made:
    """Builders of deliveries."""
    return Made()
