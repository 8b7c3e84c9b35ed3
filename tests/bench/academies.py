"""A large academy and the small demo it is copied from, and work on both, each piece in a process of its own.

`python -m bench.academies WORK HOME [MORE]` does one piece of `WORKS`, and prints its processor time and time, s, and
the peak memory of its process, MB, as JSON.
"""

import atexit
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from bench.crowds import make_demo
from bench.large import make
from bench.table import Row
from peak import peak_mb
from warehouse.backup import back_up
from warehouse.health import check
from warehouse.home import Home
from warehouse.store import open_snapshot

SWINGS = 1_000_000
QUERIES = (  # such as an analyst asks first
    """
    SELECT club_family, pace, count(*), avg(impact_lead_share_pct)
    FROM academy.swing JOIN academy.swing_metric USING (session, swing_no) WHERE usable GROUP BY ALL
    """,
    "SELECT fault, avg(flagged::INTEGER) AS share FROM academy.swing_fault GROUP BY ALL ORDER BY share DESC",
    """
    SELECT date_trunc('month', day) AS month, metric, avg(mean), count(DISTINCT student)
    FROM season.session_metric GROUP BY ALL ORDER BY ALL
    """,
)


@dataclass(frozen=True)
class Spent:
    """What a piece of work took: processor time and time, s, and the peak memory of its process, MB."""

    cpu_s: float
    wall_s: float
    peak_mb: float


def rows(home: Home, demo: str, swings: str) -> None:
    """Copy the demo's rows until there are so many swings."""
    make(Home(Path(demo)), home.path, int(swings))


def health(home: Home) -> None:
    """What `underfoot health` does."""
    check(home)


def backup(home: Home) -> None:
    """What `underfoot backup` does."""
    with tempfile.TemporaryDirectory(dir=home.path.parent) as folder:
        back_up(home, Path(folder) / "academy.backup", b"a secret of the bench")


def sql(home: Home) -> None:
    """Ask QUERIES once."""
    with closing(open_snapshot(home)) as snapshot:
        for query in QUERIES:
            if snapshot.sql(query).is_empty():
                raise ValueError(f"no rows: {query}")


WORKS: dict[str, Callable[..., None]] = {"rows": rows, "health": health, "backup": backup, "sql": sql}


def alone(work: str, home: Home, *more: str) -> Spent:
    """Do a piece of work in a process of its own."""
    paths = os.pathsep.join([str(Path(__file__).parents[1]), str(Path(__file__).parents[2])])
    call = [sys.executable, "-m", "bench.academies", work, str(home.path), *more]
    environment = os.environ | {"PYTHONPATH": paths}
    done = subprocess.run(call, check=True, stdout=subprocess.PIPE, text=True, env=environment)
    return Spent(**json.loads(done.stdout))


@cache
def large_and_small(swings: int) -> tuple[Home, Home, Spent]:
    """A demo copied until there are so many swings, the demo, and what copying took. Made once, kept to the end."""
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    large, small = Home(folder / "large"), Home(folder / "demo")
    make_demo(small.path)
    return large, small, alone("rows", large, str(small.path), str(swings))


def making(folder: Path, swings: int = SWINGS, most_s: float = 600.0) -> Row:
    """Making an academy of so many swings, in rows, and of a tenth of them."""
    _, small, ours = large_and_small(swings)
    base = alone("rows", Home(folder / "tenth"), str(small.path), str(swings // 10))
    ratio, met = ours.cpu_s / base.cpu_s, ours.cpu_s <= most_s
    return _row(
        "m", f"making {swings:,} swings in rows / a tenth of them", ours, base, ratio, "≤ 10 min", met
    )


def _on_both(letter: str, work: str, called: str, most_s: float, swings: int) -> Row:
    large, small, _ = large_and_small(swings)
    ours, base = alone(work, large), alone(work, small)
    what, goal = f"{called}, {swings:,} swings / a small demo", f"≤ {most_s:.0f} s"
    return _row(letter, what, ours, base, ours.cpu_s / base.cpu_s, goal, ours.cpu_s <= most_s)


def _row(letter: str, what: str, ours: Spent, base: Spent, ratio: float, goal: str, met: bool) -> Row:
    by_clock = f"{ours.wall_s:.0f} s by the clock, {ours.peak_mb:.0f} MB at most"
    return Row(f"({letter}) {what}, CPU; {by_clock}", ours.cpu_s, base.cpu_s, "s", ratio, goal, met)


def checking(_: Path, swings: int = SWINGS) -> Row:
    """`underfoot health`, with what it takes to start."""
    return _on_both("n", "health", "checking a home", 10, swings)


def backing_up(_: Path, swings: int = SWINGS) -> Row:
    """`underfoot backup`, read back and compared."""
    return _on_both("o", "backup", "a backup", 120, swings)


def asking(_: Path, swings: int = SWINGS) -> Row:
    """QUERIES, as `underfoot sql` asks them."""
    return _on_both("p", "sql", f"{len(QUERIES)} queries over all swings, faults and sessions", 10, swings)


if __name__ == "__main__":
    work, home, *more = sys.argv[1:]
    started = time.perf_counter()
    WORKS[work](Home(Path(home)), *more)
    spent = Spent(time.process_time(), time.perf_counter() - started, peak_mb())
    print(json.dumps(vars(spent)))
