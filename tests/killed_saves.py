"""Saves of *New session* killed at random moments, in children of a process that has all imported.

Run as a script: `python tests/killed_saves.py FOLDER SEED KILLS`; prints one JSON object. Each save is of two
students' parts of one recording; afterwards all of them are saved once more, killed or not, and loaded. The
parent never calls a library that keeps threads, so its children may after the fork.
"""

import json
import os
import random
import signal
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import builders
import made_swings as made
from dashboard import readers
from dashboard.pages.session import content, saving
from ingest import filing as _filing  # noqa: F401 - imported before the fork, as is what follows
from killed_loads import SETTINGS, ended_well, in_a_child, land
from warehouse.deliverer import MARK
from warehouse.home import Home
from warehouse.preview import Preview, PreviewedSwing
from warehouse.store import writer

STUDENTS, BESIDE = ("s1", "s2"), b"\0" * 300_000
PARTS = {"plate.csv", "notes.jpg", "session.toml"}


def fill(home: Home, base: Path, kills: int) -> None:
    """A home with its roster, and the export of each save."""
    home.path.mkdir(parents=True)
    home.settings_file.write_text(SETTINGS)
    home.make_folders()
    if builders.load_all(home, [made.write_roster(base / "drop")]):
        raise AssertionError("the roster was refused")
    for k in range(kills):
        made.swing_frame(rate_hz=100).write_csv(base / f"{k}.csv")


def visit(home: Home, base: Path, k: int) -> tuple:
    """Who saves, and what: the k-th recording's parts."""
    files = {"plate.csv": (base / f"{k}.csv").read_bytes(), "notes.jpg": BESIDE}
    opened = content.Opened(Preview({}, swings=(PreviewedSwing(1, None),)), files)
    began = datetime(2026, 5, 1 + k % 28, 10, k // 28, tzinfo=UTC)
    parts = [(content.Visit(s, "7-iron", "full", "mat", "", began), opened, {}) for s in STUDENTS]
    return readers.reader(home, "h1").by(lambda: readers.reader(home, "h1")), parts


def save(home: Home, base: Path, k: int, told: int) -> None:
    """One save; says when it begins, and when the page would say that it is saved."""
    reader, parts = visit(home, base, k)
    os.write(told, b"r")
    saving.save(reader, parts)
    os.write(told, b"s")


def kill(home: Home, base: Path, k: int, after_s: float) -> tuple[bool, float]:
    """Whether the save had said that it was done when it was killed, and how long it had been at it."""
    ours, theirs = os.pipe()
    child = in_a_child(lambda: save(home, base, k, theirs))
    os.close(theirs)
    if os.read(ours, 1) != b"r":
        sys.exit("a save did not begin")
    began = time.monotonic()
    if after_s < 0:
        done = os.read(ours, 1) == b"s"
        took = time.monotonic() - began
    else:
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
        took, done = time.monotonic() - began, os.read(ours, 1) == b"s"
    os.waitpid(child, 0)
    os.close(ours)
    return done, took


def whole(folder: Path) -> bool:
    """Whether all of a delivery is there."""
    sessions = [path for path in folder.iterdir() if path.is_dir()]
    return (folder / MARK).is_file() and len(sessions) == len(STUDENTS) and all(
        {path.name for path in session.iterdir()} == PARTS for session in sessions
    )  # fmt: skip


def finish(home: Home, base: Path, kills: int, into: Path) -> None:
    """Save everything once more, and load it."""
    for k in range(kills):
        saving.save(*visit(home, base, k))
    land(home)
    with writer(home) as w:
        rows = w.sql("SELECT student, day, started_at, count(*) FROM academy.session GROUP BY ALL").rows()
        swings = w.sql("SELECT session, count(*) AS n FROM academy.swing GROUP BY 1")["n"].to_list()
    into.write_text(json.dumps({"each": [row[-1] for row in rows], "swings": swings}))


def main(base: Path, seed: int, kills: int) -> None:
    home, moments = Home(base / "academy"), random.Random(seed)
    if not ended_well(in_a_child(lambda: fill(home, base, kills))):
        sys.exit("the home could not be made")
    length = kill(home, base, 0, -1.0)[1]
    broken, lost, in_between = [], [], 0
    for k in range(1, kills):
        before = set(home.inbox.iterdir())
        done, _ = kill(home, base, k, moments.uniform(0.0, 0.9 * length))
        new = set(home.inbox.iterdir()) - before
        broken += [k for folder in new if not whole(folder)]
        lost += [k] if done and len(new) != 1 else []
        in_between += not done
    found = {"length_s": round(length, 3), "killed_at_work": in_between, "broken": broken, "lost": lost}
    if not ended_well(in_a_child(lambda: finish(home, base, kills, base / "found.json"))):
        sys.exit("the saves could not be loaded")
    print(json.dumps(found | json.loads((base / "found.json").read_text())))


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:4]))
