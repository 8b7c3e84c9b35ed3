"""Hand-made swings and delivery folders for the tests; made from key points, apart from demo and models."""

import textwrap
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import polars as pl
from scipy.interpolate import PchipInterpolator

# Key points of a sound swing (common practice, no source): time after takeaway (s), lead share (%), total
# load (% of body weight), along of lead and trail foot (% of foot length).
EVENTS = {
    "address": -0.5,
    "takeaway": 0.0,
    "mid_back": 0.5,
    "top": 0.8,
    "mid_down": 0.98,
    "impact": 1.06,
    "finish": 1.9,
}
SOUND = {
    -2.0: (50, 100, 50, 50),
    0.0: (50, 100, 50, 50),
    0.5: (30, 101, 55, 47),
    0.62: (28, 102, 56, 46),
    0.8: (38, 104, 56, 46),
    0.98: (70, 128, 52, 60),
    1.06: (74, 118, 49, 72),
    1.3: (84, 100, 46, 84),
    1.9: (92, 100, 48, 88),
    2.6: (92, 100, 48, 88),
}


def curves(t_s: np.ndarray, points: Mapping[float, tuple[float, ...]] = SOUND) -> np.ndarray:
    """Shape-preserving smooth curves through key points; (4, N): lead share, total, lead along, trail along."""
    knots = np.array(sorted(points))
    values = np.array([points[k] for k in knots], dtype=float)
    return PchipInterpolator(knots, values)(np.clip(t_s, knots[0], knots[-1])).T


def swing_frame(
    swing_no: int = 1,
    rate_hz: float = 250.0,
    body_mass_kg: float = 70.0,
    points: Mapping[float, tuple[float, ...]] = SOUND,
    start_s: float = 10.0,
    seed: int | None = None,
) -> pl.DataFrame:
    """plate.csv rows of one swing in lead/trail columns. Takeaway is at start_s + 1.6."""
    n = round(4.0 * rate_hz)
    t = np.arange(n) / rate_hz
    share, total, lead_along, trail_along = curves(t - 1.6, points)
    weight = body_mass_kg * 9.80665
    noise = np.random.default_rng(seed) if seed is not None else None

    def rough(values: np.ndarray, sd: float) -> np.ndarray:
        return values if noise is None else values + noise.normal(0, sd, n)

    return pl.DataFrame(
        {
            "swing_no": np.full(n, swing_no),
            "t_s": np.round(start_s + t, 6),
            "lead_n": np.round(rough(weight * total / 100 * share / 100, 2.0), 3),
            "trail_n": np.round(rough(weight * total / 100 * (1 - share / 100), 2.0), 3),
            "lead_along_pct": np.round(rough(lead_along, 0.4), 4),
            "trail_along_pct": np.round(rough(trail_along, 0.4), 4),
        }
    )


def sided(frame: pl.DataFrame, handed: str) -> pl.DataFrame:
    """The same rows in left/right columns: a right-hander's lead foot is the left."""
    lead, trail = ("left", "right") if handed == "right" else ("right", "left")
    return frame.rename(
        {
            name: name.replace("lead_", lead + "_").replace("trail_", trail + "_")
            for name in frame.columns
            if name.startswith(("lead_", "trail_"))
        }
    )


def session_toml(
    session: str,
    student: str = "s1",
    device: str = "mat",
    coach: str = "c1",
    swings: int = 1,
    started_at: str = "2026-05-05T10:00:00+01:00",
    start_s: float = 10.0,
    club: str = "7-iron",
    more: str = "",
    events: Mapping[str, float] = EVENTS,
) -> str:
    """session.toml with every event of every swing marked."""
    text = textwrap.dedent(
        f"""\
        session = "{session}"
        student = "{student}"
        coach = "{coach}"
        started_at = {started_at}
        club = "{club}"
        device = "{device}"
        """
    )
    text += more + "\n"
    for no in range(1, swings + 1):
        text += f"\n[[swing]]\nno = {no}\n[swing.events]\n"
        text += "".join(f"{name} = {round(start_s + 1.6 + at, 6)}\n" for name, at in events.items())
    return text


def write_roster(folder: Path, *, consents: bool = True) -> Path:
    """people, coaching, drills, seasons and consents as roster files."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "people.csv").write_text(
        "person,role,display_name,born,handed,foot_length_mm,level,guardian_of,joined,left\n"
        "h1,head_coach,Runa Oake,,,,,,2025-01-01,\n"
        "c1,coach,Bram Tolliver,,,,,,2025-01-01,\n"
        "c2,coach,Ines Marrow,,,,,,2025-01-01,\n"
        "s1,student,Petra Quill,1990-02-03,right,250,club,,2026-01-01,\n"
        "s2,student,Odo Fenn,2013-06-01,left,240,junior,,2026-01-01,\n"
        "s3,student,Mina Harrow,1971-11-30,right,254,club,,2026-01-01,\n"
        "g2,guardian,Tess Fenn,,,,,s2,2026-01-01,\n"
    )
    (folder / "coaching.csv").write_text(
        "student,coach,from,to\ns1,c1,2026-01-01,\ns2,c1,2026-01-01,\ns3,c2,2026-01-01,\n"
    )
    (folder / "drills.csv").write_text(
        "drill,name,aim,how,cautions,min_age\n"
        "d1,Quiet heel,trail_push,Let the trail heel grow light before the arms come down.,Stop when it hurts.,\n"
    )
    (folder / "seasons.csv").write_text("season,from,to\n2026,2026-04-01,2026-09-30\n")
    if consents:
        (folder / "consents.csv").write_text(
            "student,given_by,purpose,from,to\n"
            + "".join(
                f"{s},{by},{purpose},2026-01-01,\n"
                for s, by in (("s1", "s1"), ("s2", "g2"), ("s3", "s3"))
                for purpose in ("measure", "film")
            )
        )
    return folder


def write_session(folder: Path, toml: str, plate: pl.DataFrame | None, name: str = "plate.csv") -> Path:
    """One session folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "session.toml").write_text(toml, encoding="utf-8")
    if plate is not None:
        if name.endswith(".parquet"):
            plate.write_parquet(folder / name)
        else:
            plate.write_csv(folder / name)
    return folder
