"""Invented sessions of the bench: 20 swings of 1,125 samples in 8 columns, as traces and as deliveries."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import polars as pl

import builders
from models.swing.film_offsets import PLACED_AS
from models.swing.reduce import SessionTask
from warehouse.home import Home
from warehouse.traces import SessionTrace, write_trace

RATE_HZ = 1124 / 3.4  # 1,125 samples in the 3.4 s of an invented swing
STANCE = (220.0, 0.0, 250.0, 265.0, -215.0, 5.0, -240.0, 268.0)
SETTINGS = """\
name = "The Bench academy"
time_zone = "Europe/Dublin"
consents = "kept elsewhere"

[device.mat]
kind = "pressure_mat"
"""


def beside_the_swing_tests(name: str):
    """A module of tests/models/swing."""
    known = f"bench_{name}"
    if known not in sys.modules:
        path = Path(__file__).parents[1] / "models" / "swing" / f"{name}.py"
        spec = importlib.util.spec_from_file_location(known, path)
        sys.modules[known] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[known])
    return sys.modules[known]


def swing_columns(seed: int) -> dict[str, np.ndarray]:
    """One swing's samples, rounded as devices export them."""
    build = beside_the_swing_tests("swing_builders")
    rng = np.random.default_rng(seed)
    p = build.posts
    plan = build.Plan(
        share=p(50, mid_back=rng.uniform(25, 40), top=36, mid_down=rng.uniform(60, 75), impact=74, finish=92),
        lead_along=p(50, mid_back=55, top=58, mid_down=54, impact=44, finish=40),
        trail_along=p(50, mid_back=47, top=46, mid_down=66, impact=76, finish=84),
        lead_heel=p(40, mid_back=26, top=24, mid_down=36, impact=50, finish=55),
        trail_heel=p(40, mid_back=42, top=42, mid_down=6, impact=1, finish=0),
        total=p(100, mid_back=100, top=98, mid_down=128, impact=120, finish=100),
    )
    columns = plan.columns(RATE_HZ, noise=0.002, seed=seed)
    count = columns["lead_n"].size
    for foot in ("lead", "trail"):
        columns[f"{foot}_across_mm"] = rng.normal(0, 0.1, count).cumsum().clip(-40, 40)
        columns[f"{foot}_heel_n"] = np.minimum(columns[f"{foot}_heel_n"], columns[f"{foot}_n"])
    return {name: np.round(values, 2).astype(np.float32) for name, values in columns.items()}


def session_trace(session: str, swings: int, seed: int) -> SessionTrace:
    """The trace of one session."""
    build = beside_the_swing_tests("swing_builders")
    made = [swing_columns(1000 * seed + k) for k in range(swings)]
    return build.trace_of(made, [RATE_HZ] * swings, session)


def tasks(folder: Path, sessions: int, swings: int) -> list[SessionTask]:
    """Trace files of several sessions with every event marked, and what their reduction needs."""
    build = beside_the_swing_tests("swing_builders")
    made = []
    for k in range(sessions):
        path = folder / f"s{k}.parquet"
        write_trace(path, session_trace(f"s{k}", swings, k))
        rows, events = build.swing_rows(swings, f"s{k}"), build.event_rows([build.TIMES] * swings, f"s{k}")
        # no clip, as the warehouse says it
        rows = rows.with_columns(pl.lit(None, kind).alias(name) for name, kind in PLACED_AS.items())
        made.append(SessionTask(path, rows, events, STANCE))
    return made


def home_to_load(path: Path) -> Home:
    """A home whose inbox holds the people of the sessions of `lot_to_load`."""
    home = builders.make_home(path, SETTINGS)
    people = "person,role,display_name,born,handed,joined\n"
    people += "c1,coach,Piers Loam,,,2025-01-01\ns1,student,Ada Fennimore,1988-02-03,right,2025-03-01\n"
    (home.inbox / "people.csv").write_text(people, encoding="utf-8")
    return home


def lot_to_load(path: Path, sessions: int, swings: int, seed: int = 0) -> list[bytes]:
    """A folder of sessions with a plate.csv each and every event marked; returns those files' bytes."""
    build = beside_the_swing_tests("swing_builders")
    marks = "".join(f"{event} = {t}\n" for event, t in build.TIMES.items())
    data = []
    for k in range(sessions):
        folder = path / f"s{seed}-{k}"
        folder.mkdir(parents=True)
        head = f'session = "{folder.name}"\nstudent = "s1"\ncoach = "c1"\ndevice = "mat"\nclub = "7-iron"\n'
        head += f"started_at = 2026-05-05T10:{k % 60:02d}:00+01:00\n"
        text = "".join(f"\n[[swing]]\nno = {n}\n[swing.events]\n{marks}" for n in range(1, swings + 1))
        (folder / "session.toml").write_text(head + text, encoding="utf-8")
        plate_csv(folder / "plate.csv", session_trace(folder.name, swings, 1000 * seed + k))
        data.append((folder / "plate.csv").read_bytes())
    return data


def plate_csv(path: Path, trace: SessionTrace) -> None:
    """A trace's samples as plate.csv."""
    counts = np.diff(trace.offsets)
    times = np.concatenate([trace.times(k) for k in range(counts.size)])
    columns = {name: np.round(values.astype(float), 2) for name, values in trace.columns.items()}
    frame = {"swing_no": np.repeat(trace.swing_no, counts), "t_s": np.round(times, 6)}
    pl.DataFrame(frame | columns).write_csv(path)
