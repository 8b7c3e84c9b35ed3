"""A build on a cluster: its tables are those of one machine to the last bit, also when a worker dies halfway."""

import os
import re
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path

import polars as pl
import pytest

from bench import made
from ingest.load import load
from models import build, cluster
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.store import opened, table_columns, writer

ROOT = Path(__file__).parents[2]
SESSIONS = 12
DIES_AT = 2  # the session at which one of the workers is killed; a slow worker may get few
KILLED = f"""
import os, signal
from distributed import WorkerPlugin

class Killed(WorkerPlugin):
    seen = 0
    def transition(self, key, start, finish, **more):
        self.seen += finish == "executing" and "on_worker" in str(key)
        if self.seen == {DIES_AT}:
            os.kill(os.getpid(), signal.SIGKILL)

async def dask_setup(worker):
    await worker.plugin_add(Killed())
"""


@pytest.fixture(scope="module")
def loaded(tmp_path_factory) -> Home:
    """A home with sessions that were loaded and are not built yet."""
    home = made.home_to_load(tmp_path_factory.mktemp("cluster") / "academy")
    with writer(home) as w:
        load(home, w)
        made.lot_to_load(home.inbox / "lot", SESSIONS, 2)
        load(home, w, [home.inbox / "lot"])
    return home


def tables(home: Home) -> dict[str, pl.DataFrame]:
    """Every row of the warehouse, in one order, but for the moment at which something was fitted."""
    with opened(home) as w:
        return {
            name: w.sql(f"SELECT * EXCLUDE (fitted_at) FROM {name} ORDER BY ALL" if "fitted_at" in columns
                        else f"SELECT * FROM {name} ORDER BY ALL")
            for name, columns in table_columns(w.connection).items()
        }  # fmt: skip


class Cluster:
    """A scheduler and workers, each a process of its own."""

    def __init__(self, stack: ExitStack, folder: Path) -> None:
        self.stack, self.folder = stack, folder
        folder.mkdir()
        self.scheduler = self.started("scheduler", "--port", "0", "--no-dashboard", "--host", "127.0.0.1")
        self.address = self.said("scheduler", r"Scheduler at:\s+(tcp://\S+)")

    def started(self, kind: str, *options: str, name: str = "") -> subprocess.Popen[bytes]:
        """One more process; it ends with the test."""
        call = [sys.executable, "-m", "dask", kind, *options]
        environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "ignore"}
        with (self.folder / (name or kind)).open("wb") as log:
            process = subprocess.Popen(call, stdout=log, stderr=log, env=environment, cwd=ROOT)
        self.stack.enter_context(process)
        self.stack.callback(process.kill)
        return process

    def said(self, name: str, what: str, limit_s: float = 60.0) -> str:
        """What a process wrote."""
        ends = time.monotonic() + limit_s
        while time.monotonic() < ends:
            found = re.search(what, (self.folder / name).read_text(errors="replace"))
            if found:
                return found[found.lastindex or 0]
            time.sleep(0.1)
        raise TimeoutError((self.folder / name).read_text(errors="replace"))

    def worker(self, name: str, *options: str) -> subprocess.Popen[bytes]:
        """One more worker, once it is known to the scheduler; nothing starts it again when it dies."""
        process = self.started(
            "worker", self.address, "--no-nanny", "--no-dashboard", "--nthreads", "1", "--host", "127.0.0.1",
            "--local-directory", str(self.folder), *options, name=name,
        )  # fmt: skip
        self.said(name, r"Registered to:\s+tcp")
        return process


@pytest.fixture
def started(tmp_path):
    """A scheduler without workers."""
    with ExitStack() as stack:
        yield Cluster(stack, tmp_path / "cluster")


@pytest.mark.slow  # three processes start, and each of them imports what it computes with
def test_a_build_by_two_workers_of_which_one_is_killed_halfway_makes_the_same_tables(loaded, started):
    with writer(loaded) as w:
        build.build(loaded, w)
    here = tables(loaded)
    with writer(loaded) as w:
        w.execute("DELETE FROM academy.swing_metric")
        w.execute("DELETE FROM season.session_metric")
    (started.folder / "killed.py").write_text(KILLED)
    started.worker("whole")
    killed = started.worker("killed", "--preload", str(started.folder / "killed.py"))
    with cluster.workers_at(started.address, loaded), writer(loaded) as w:
        done = build.build(loaded, w)
    assert killed.wait(30) == -9
    assert (done.sessions, done.swings, done.problems) == (SESSIONS, 2 * SESSIONS, [])
    there = tables(loaded)
    assert here["academy.swing_metric"].height == 2 * SESSIONS
    assert here["season.session_metric"].height > SESSIONS
    for name, rows in here.items():
        assert there[name].equals(rows), name


def test_a_worker_of_another_version_refuses_and_nothing_changes():
    with pytest.raises(CallError, match="another version of Underfoot"):
        cluster.on_worker(len, "older", ROOT / "pyproject.toml", ())
    assert cluster.on_worker(len, cluster.version(), ROOT / "pyproject.toml", ()) == 0


def test_a_worker_that_does_not_see_the_home_says_under_which_path_it_must(tmp_path):
    with pytest.raises(CallError, match=f"does not see {tmp_path}.*share the home"):
        cluster.on_worker(len, cluster.version(), tmp_path / "academy.toml", ())


def test_without_dask_the_sentence_says_what_to_install(monkeypatch, home):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(CallError, match=r"pip install 'underfoot\[cluster\]'"),
        cluster.workers_at("tcp://x:1", home),
    ):
        pass
