"""Loads killed at moments spread over them, each followed by a plain load, in children of a process that has all imported.

Run as a script: `python tests/killed_loads.py FOLDER SEED LANDINGS WHOLE`; prints one JSON object. LANDINGS
kills fall into the landing and publishing of a load, WHOLE ones also into its reducing and answering, which
take a second each. The parent never calls a library that keeps threads, so its children may after the fork.
"""

import gc
import hashlib
import json
import os
import random
import shutil
import signal
import sys
import time
from pathlib import Path

import made_swings as made
import underfoot
from ingest import ledger
from ingest import loader as _loader  # noqa: F401 - imported before the fork, as is what follows
from ingest.load import load
from models import build as _build  # noqa: F401
from warehouse.contracts.base import dtypes_of
from warehouse.contracts.rows import contract_of
from warehouse.home import Home
from warehouse.store import open_snapshot, unanswered, writer
from warehouse.tables import table_names

SETTINGS = (
    'name = "The Bramble Lea academy"\ntime_zone = "Europe/Dublin"\n[device.mat]\nkind = "pressure_mat"\n'
)
LEFT_OUT = {"academy.delivery"}  # a killed load may have used up a number
TIMES = {"received_at", "at", "fitted_at", "refused_at"}
NOTES = "student,at,author,kind,code,grade,shared\ns1,2026-05-07,c1,saw,late_crossing,2,true\n"


def in_a_child(do) -> int:
    """Run in a fork; returns its process number."""
    child = os.fork()
    if child == 0:
        try:
            do()
            os._exit(0)
        except BaseException as error:  # noqa: BLE001 - reported to the parent by the exit status
            print(repr(error), file=sys.stderr)
            os._exit(1)
    return child


def ended_well(child: int) -> bool:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def fill(base: Path) -> None:
    """A home with its roster and one session loaded, and an inbox with a correction, new ones and bad ones."""
    home = Home(base / "academy")
    home.path.mkdir(parents=True)
    home.settings_file.write_text(SETTINGS)
    home.make_folders()
    drop = made.write_roster(base / "drop")
    made.write_session(drop / "v1", made.session_toml("v1"), made.swing_frame(rate_hz=100))
    underfoot._loader(home, quiet=True).load([drop])
    box = home.inbox
    made.write_session(box / "v1", made.session_toml("v1"), made.swing_frame(rate_hz=125))
    made.write_session(
        box / "v2",
        made.session_toml("v2", "s2", started_at="2026-05-06T10:00:00Z"),
        made.swing_frame(rate_hz=100),
    )
    made.write_session(box / "bad", made.session_toml("bad", "s9"), made.swing_frame(rate_hz=100).head(50))
    half = made.session_toml("half", swings=2, started_at="2026-05-08T10:00:00Z")
    made.write_session(box / "half", half, made.swing_frame(rate_hz=100))
    (box / "notes.csv").write_text(NOTES)
    (box / "coaching.csv").write_text(
        "student,coach,from,to\ns1,c1,2026-01-01,2026-05-31\ns1,c2,2026-06-01,\n"
    )


def land(home: Home) -> None:
    """A load without its answers."""
    with writer(home) as w, unanswered(w):
        load(home, w, [home.inbox])
        w.publish()


def whole(home: Home) -> None:
    """A load as the command does it."""
    underfoot._loader(home, quiet=True).load()


def state(home: Home) -> dict[str, str]:
    """What has to be the same: every table, every trace, the ledger, and nothing left over."""
    found = {}
    with writer(home) as w:
        for name in table_names():
            if name not in LEFT_OUT:
                kept = ", ".join(f'"{c}"' for c in w.columns[name] if c not in TIMES)
                rows = sorted(map(repr, w.connection.execute(f"SELECT {kept} FROM {name}").fetchall()))
                found[name] = hashlib.sha256("\n".join(rows).encode()).hexdigest()
    for trace in sorted(p for p in home.traces.rglob("*") if p.is_file()):
        found[trace.relative_to(home.path).as_posix()] = hashlib.sha256(trace.read_bytes()).hexdigest()
    found["ledger"] = repr(sorted((e["content"], e["outcome"]) for e in ledger.entries(home)))
    found["filed"] = repr(sorted(p.name for p in home.filed.iterdir()))
    found["refused"] = repr(sorted(p.name for p in home.refused.iterdir()))
    found["inbox"] = repr(sorted(p.name for p in home.inbox.rglob("*")))
    return found


def check_published(home: Home) -> None:
    """Whatever moment it was, readers still read, and no session is there by half."""
    snapshot = open_snapshot(home)
    sessions = snapshot.connection.execute(
        "SELECT session, (SELECT count(*) FROM academy.swing w WHERE w.session = s.session) FROM academy.session s"
    ).fetchall()
    snapshot.close()
    if not sessions or any(swings != 1 for _, swings in sessions):
        raise AssertionError(sessions)


def finish(home: Home, run, into: Path) -> None:
    check_published(home)
    run(home)
    check_published(home)
    into.write_text(json.dumps(state(home)))


class Round:
    """Kills of one kind of load, each on a fresh copy of the same home."""

    def __init__(self, base: Path, run) -> None:
        self.base, self.run, self.state_file = base, run, base / "state.json"
        self.differ: list = []
        self.late = 0
        times = []
        for _ in range(3):
            home, began = self.fresh(), time.monotonic()
            if not ended_well(in_a_child(lambda home=home: run(home))):
                sys.exit("an undisturbed load failed")
            times.append(time.monotonic() - began)
        self.length = sorted(times)[1]
        self.expected = self.finished(self.fresh())

    def fresh(self) -> Home:
        shutil.rmtree(self.base / "academy", ignore_errors=True)
        shutil.copytree(self.base / "ready" / "academy", self.base / "academy")
        return Home(self.base / "academy")

    def finished(self, home: Home) -> dict[str, str]:
        self.state_file.unlink(missing_ok=True)
        ended_well(in_a_child(lambda: finish(home, self.run, self.state_file)))
        return json.loads(self.state_file.read_text()) if self.state_file.exists() else {}

    def kill(self, at: float) -> None:
        home = self.fresh()
        child = in_a_child(lambda: self.run(home))
        time.sleep(at)
        os.kill(child, signal.SIGKILL)
        self.late += os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
        found = self.finished(home)
        names = sorted(n for n in {*self.expected, *found} if self.expected.get(n) != found.get(n))
        if names:
            self.differ.append([round(at, 4), names])


def main(base: Path, seed: int, landings: int, wholes: int) -> None:
    for table in table_names():
        dtypes_of(contract_of(table))  # read off once, before the forks
    gc.disable()  # a collection in a child would copy all that it shares with this process
    gc.freeze()
    if not ended_well(in_a_child(lambda: fill(base / "ready"))):
        sys.exit("the home could not be made")
    started, moments, found = time.monotonic(), random.Random(seed), {}
    for name, run, kills in (("landing", land, landings), ("whole", whole, wholes)):
        kind = Round(base, run)
        for number in range(kills):  # one in each of as many equal parts of the load
            kind.kill((number + moments.random()) / kills * kind.length)
        found[name] = {
            "kills": kills, "ended_before": kind.late, "differ": kind.differ, "load_s": round(kind.length, 3)
        }  # fmt: skip
    found["seconds"], found["cpu_s"] = round(time.monotonic() - started, 1), round(sum(os.times()[:4]), 1)
    print(json.dumps(found))


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:5]))
