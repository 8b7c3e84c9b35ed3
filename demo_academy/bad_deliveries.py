"""Bad deliveries, each wrong in its own way, and what loading must say about them.

Bad sessions are copies of a good one under a new name; bad swings are damaged inside a good session, whose
other swings must still load.
"""

import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
import polars as pl

from demo_academy.people import NO_CONSENT
from demo_academy.season_plan import Visit


@dataclass(frozen=True)
class Expected:
    """One expected refusal. `delivery` is the folder's name; `swing_no` None for a whole session."""

    delivery: str
    session: str | None
    swing_no: int | None
    kind: str


def _edit(file: Path, old: str, new: str) -> None:
    """Replace the first match of a pattern in a text file."""
    text, found = re.subn(old, new, file.read_text(encoding="utf-8"), count=1, flags=re.MULTILINE)
    if not found:
        raise ValueError(f"{file.name} has no {old}")
    file.write_text(text, encoding="utf-8", newline="\n")


def _rows(folder: Path, change: Callable[[pl.DataFrame], pl.DataFrame]) -> None:
    change(pl.read_csv(folder / "plate.csv")).write_csv(folder / "plate.csv")


def _session(old: str, new: str) -> Callable[[Path], object]:
    """Damage by an edit of session.toml."""
    return lambda folder: _edit(folder / "session.toml", old, new)


def _plate(content: bytes) -> Callable[[Path], object]:
    """Damage by another content of plate.csv."""
    return lambda folder: (folder / "plate.csv").write_bytes(content)


SESSIONS: dict[str, Callable[[Path], object]] = {
    "missing_column": lambda folder: _rows(folder, lambda frame: frame.drop("trail_n")),
    "unknown_person": _session(r'^student = ".*"', 'student = "s777"'),
    "no_offset": _session(r"\+01:00$", ""),
    "empty_file": _plate(b""),
    "binary_file": _plate(np.random.default_rng(5).bytes(4096)),
    "no_consent": _session(r'^student = ".*"', f'student = "{NO_CONSENT}"'),
    "unknown_device": _session(r'^device = ".*"', 'device = "plates-attic"'),
    "unreadable_toml": _session(r'^coach = "(.*)"', r"coach = \1"),
}


def _spread_evenly(k: int, of: int, mats: list[Visit]) -> int:
    """The k-th of `of` places spread evenly over the visits."""
    return (2 * k + 1) * len(mats) // (2 * of)


def bad_sessions(inbox: Path, mats: list[Visit]) -> list[Expected]:
    """Copy good sessions of the mat and damage each copy; returns what must be refused."""
    out = []
    for k, (kind, damage) in enumerate(SESSIONS.items()):
        visit = mats[_spread_evenly(k, len(SESSIONS), mats)]
        started = (visit.started_at + timedelta(days=1)).replace(hour=20, minute=5 * k)
        name = f"{started.date().isoformat()}-{visit.student.code}-b{k + 1}"
        folder = inbox / name
        shutil.copytree(
            inbox / visit.session, folder, ignore=shutil.ignore_patterns("notes.csv", "shots.csv")
        )
        _edit(folder / "session.toml", r'^session = ".*"', f'session = "{name}"')
        _edit(folder / "session.toml", r"^started_at = .*", f"started_at = {started.isoformat()}")
        damage(folder)
        readable = kind != "unreadable_toml"
        out.append(Expected(name, name if readable else None, None, kind))
    return out


def _events_out_of_order(folder: Path, no: int) -> int:
    head = rf"no = {no}\n[^[]*\[swing\.events\][^[]*?"
    _edit(folder / "session.toml", rf"({head}mid_back = )(\S+)(\ntop = )(\S+)", r"\1\4\3\2")
    return no


def _swing(folder: Path, no: int, change: Callable[[pl.DataFrame], pl.DataFrame]) -> int:
    """Change the samples of one swing."""

    def changed(frame: pl.DataFrame) -> pl.DataFrame:
        before, after = frame.filter(pl.col("swing_no") < no), frame.filter(pl.col("swing_no") > no)
        return pl.concat([before, change(frame.filter(pl.col("swing_no") == no)), after])

    _rows(folder, changed)
    return no


def _same_time_twice(folder: Path, no: int) -> int:
    def twice(swing: pl.DataFrame) -> pl.DataFrame:
        return pl.concat([swing, swing[195:200]]).sort("t_s", maintain_order=True)

    return _swing(folder, no, twice)


def _clock_runs_back(folder: Path, no: int) -> int:
    return _swing(folder, no, lambda swing: pl.concat([swing[150:], swing[:150]]))


def _value_far_out(folder: Path, no: int) -> int:
    """The trail foot's position written in mm from the heel instead of % of its length."""
    mm = pl.when(pl.col("swing_no") == no).then(pl.col("trail_along_pct") * 2.7).otherwise("trail_along_pct")
    _rows(folder, lambda frame: frame.with_columns(mm.round(2).alias("trail_along_pct")))
    return no


def _unmatched_swing(folder: Path, no: int) -> int:
    """Samples of a swing that session.toml does not name."""
    renumbered = pl.when(pl.col("swing_no") == no).then(99).otherwise("swing_no").cast(pl.Int64)
    _rows(
        folder,
        lambda frame: frame.with_columns(renumbered.alias("swing_no")).sort("swing_no", maintain_order=True),
    )
    _edit(folder / "session.toml", rf"\[\[swing\]\]\nno = {no}\n(?:(?!\[\[swing).*\n?)*", "")
    return 99


SWINGS: dict[str, Callable[[Path, int], int]] = {
    "events_out_of_order": _events_out_of_order,
    "same_time_twice": _same_time_twice,
    "clock_runs_back": _clock_runs_back,
    "value_far_out": _value_far_out,
    "unmatched_swing": _unmatched_swing,
}


def bad_swings(inbox: Path, mats: list[Visit]) -> tuple[list[Expected], list[tuple[str, int]]]:
    """Spoil one swing in each of five good sessions.

    Returns what must be refused, and the (session, swing) pairs that are no longer part of the truth.
    """
    out, damaged = [], []
    for k, (kind, damage) in enumerate(SWINGS.items()):
        visit, no = mats[_spread_evenly(k, len(SWINGS), mats)], 4
        refused_no = damage(inbox / visit.session, no)
        out.append(Expected(visit.session, visit.session, refused_no, kind))
        damaged.append((visit.session, no))
    return out, damaged
