"""Disks that are full or read-only, files that change or can't be read, clocks that run back, stale locks."""

import os
import subprocess
import time
from datetime import timedelta
from pathlib import Path

import pytest

from command import underfoot_command
from ingest import ledger
from ingest.delivery import Delivery
from ingest.load import load
from warehouse.errors import UnderfootError
from warehouse.home import Home, hold_lock, holder
from warehouse.store import open_snapshot, writer

NO_RIGHT = "needs the right to mount a small disk"


@pytest.fixture
def mounted(tmp_path):
    """Mounts for one test, undone after it; skipped by name where the system does not allow it."""
    made = []

    def mount(*words: str, at: Path) -> Path:
        if os.name != "posix" or os.geteuid() != 0:
            pytest.skip(NO_RIGHT)
        at.mkdir(exist_ok=True)
        plain = os.environ | {"LC_ALL": "C"}
        ran = subprocess.run(
            ["mount", *words, str(at)], capture_output=True, text=True, env=plain, check=False
        )
        if "permission denied" in ran.stderr or "not permitted" in ran.stderr:  # root in a container
            pytest.skip(NO_RIGHT)
        assert ran.returncode == 0, ran.stderr
        made.append(at)
        return at

    yield mount
    for at in reversed(made):
        subprocess.run(["umount", str(at)], check=True)


def loaded(academy):
    """Load and publish, as the command does without the answers."""

    def both(home, w):
        report = load(home, w)
        w.publish()
        return report

    return academy.with_writer(both)


def fill(academy, made, names=("v1", "v2", "v3")):
    for day, name in enumerate(names, start=1):
        made.deliver(
            academy.inbox / name,
            made.toml(name, started_at=f"2026-05-0{day}T10:00:00Z"),
            made.plate(2, rate_hz=400, seconds=3),
        )


def outcome(academy):
    """What a load has to leave, whatever came in between."""
    filed = sorted(p.name for p in academy.home.filed.iterdir())
    return academy.tables(without=("academy.delivery",)), filed, academy.left_in_inbox()


@pytest.fixture(scope="module")
def undisturbed(made, tmp_path_factory):
    """The outcome of a load of the same deliveries with room enough."""
    academy = made.make_academy(tmp_path_factory.mktemp("undisturbed") / "academy")
    academy.roster()
    loaded(academy)
    fill(academy, made)
    loaded(academy)
    return outcome(academy)


@pytest.mark.parametrize("room_kb", [60, 150, 400, 600, 900])
def test_a_disk_that_fills_up_mid_load_loses_nothing(room_kb, made, tmp_path, mounted, undisturbed):
    disk = mounted("-t", "tmpfs", "-o", "size=60m", "tmpfs", at=tmp_path / "disk")
    academy = made.make_academy(disk / "academy")
    academy.roster()
    loaded(academy)
    before = academy.tables(times=True)
    fill(academy, made)
    ballast = disk / "ballast"
    free = os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize
    ballast.write_bytes(bytes(max(0, free - room_kb * 1024)))
    with pytest.raises(UnderfootError, match="could not be written to the end") as caught:
        loaded(academy)
    assert "\n" not in str(caught.value)
    snapshot = open_snapshot(academy.home)
    assert snapshot.sql("SELECT count(*) FROM academy.person").item() == len(before["academy.person"])
    snapshot.close()
    ballast.unlink()
    loaded(academy)
    assert outcome(academy) == undisturbed
    assert academy.left_in_inbox() == []
    assert [p.name for p in academy.home.traces.rglob("*.new")] == []


def test_a_read_only_home_is_read_and_a_load_says_what_to_do(academy, made, tmp_path, mounted):
    loaded(academy)
    drop = made.deliver(tmp_path / "drop" / "v1", made.toml(), made.plate())
    at = mounted("--bind", str(academy.home.path), at=tmp_path / "locked")
    subprocess.run(["mount", "-o", "remount,bind,ro", str(at)], check=True)
    read = underfoot_command(
        "sql", "SELECT count(*) AS n FROM academy.person", "--home", at, "--format", "csv"
    )
    assert (read.returncode, read.stdout.split()) == (0, ["n", "6"])
    ran = underfoot_command("load", drop, "--home", at)
    assert ran.returncode == 1
    assert "can't be written" in ran.stderr
    assert ran.stderr.strip().count("\n") == 0
    assert underfoot_command("health", "--home", at).returncode in (0, 1)


def test_a_film_that_changes_while_it_is_read_stays_until_its_copy_is_done(academy, made, monkeypatch):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate(), extra__bin=b"first half")
    real = ledger.mark_pending
    whole = Delivery.read

    def read_then_grow(self):
        found = whole(self)
        (self.base / "extra.bin").write_bytes(b"first half and second half")
        return found

    with monkeypatch.context() as patched:
        patched.setattr(Delivery, "read", read_then_grow)
        report = academy.load()
    assert [r.reason for r in report.refused] == ["changing"]
    assert report.refused[0].sentence.endswith("load it again once the copy is done.")
    assert academy.sql("SELECT count(*) FROM academy.session").item() == 0
    assert academy.waiting() == []
    assert [p.name for p in academy.home.filed.glob("*.part")] == []
    assert academy.load().accepted == ["v1"]
    assert ledger.mark_pending is real


def test_a_truncated_plate_file_is_refused_or_taken_as_far_as_its_events_reach(academy, made):
    folder = made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    data = (folder / "plate.csv").read_bytes()
    (folder / "plate.csv").write_bytes(data[: len(data) * 3 // 4])
    report = academy.load()
    assert [(r.swing_no, r.session) for r in report.refused] == [(2, "v1")]
    assert academy.sql("SELECT swing_no FROM academy.swing").rows() == [(1,)]
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    assert academy.load().refused == []
    assert academy.sql("SELECT count(*) FROM academy.swing").item() == 2


def test_a_file_that_may_not_be_read_stays_where_it_is_and_is_told(academy, made, monkeypatch):
    folder = made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    real = Path.read_bytes

    def locked(self):
        if self.name == "plate.csv":
            raise PermissionError(13, "Permission denied")
        return real(self)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "read_bytes", locked)
        report = academy.load()
    assert [(r.session, r.reason) for r in report.refused] == [("v1", "unreadable")]
    assert sorted(p.name for p in folder.iterdir()) == ["plate.csv", "session.toml"]
    assert academy.load().accepted == ["v1"]


def test_a_pipe_in_the_inbox_is_not_waited_on(academy):
    os.mkfifo(academy.inbox / "notes.csv")
    report = academy.load()
    assert [r.reason for r in report.refused] == ["unreadable"]


def test_a_table_too_large_to_hold_is_refused_and_kept(academy, monkeypatch):
    monkeypatch.setattr("ingest.delivery.MOST_HELD_BYTES", 1000)
    (academy.inbox / "notes.csv").write_bytes(b"x" * 1001)
    report = academy.load()
    assert [r.reason for r in report.refused] == ["too_large"]
    assert academy.left_in_inbox() == []


def test_a_clock_set_back_changes_neither_the_order_nor_what_stands(academy, made, monkeypatch):
    made.deliver(academy.inbox / "v1", made.toml(swings=3), made.plate(3))
    academy.load()
    real = ledger.now
    monkeypatch.setattr(ledger, "now", lambda: real() - timedelta(days=400))
    made.deliver(academy.inbox / "v1", made.toml(swings=2), made.plate(2))
    assert academy.load().accepted == ["v1"]
    assert academy.sql("SELECT swing_no FROM academy.swing ORDER BY 1").to_series().to_list() == [1, 2]
    rows = academy.sql("SELECT sequence, received_at FROM academy.delivery WHERE session = 'v1' ORDER BY 1")
    assert rows["received_at"][1] < rows["received_at"][0]
    assert academy.load().accepted == []


def test_a_lock_file_left_by_a_dead_process_holds_nobody_up(academy, made):
    (academy.home.path / "writer.lock").write_text("")
    (academy.home.path / "writer.json").write_text('{"pid": 999999, "since": "2020-01-01T00:00:00"}')
    os.utime(academy.home.path / "writer.lock", (0, 0))
    assert holder(academy.home.path) is None
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    started = time.monotonic()
    assert academy.load().accepted == ["v1"]
    assert time.monotonic() - started < 30


def test_a_second_writer_waits_and_says_so_and_knows_for_whom(tmp_path):
    home, said = Home(tmp_path), []
    with hold_lock(home.path):
        assert holder(home.path).pid == os.getpid()
        with (
            pytest.raises(UnderfootError, match="wait for it to end"),
            hold_lock(home.path, lambda: said.append(1), 0.1),
        ):
            pass
    assert said == [1]
    assert holder(home.path) is None
    with writer(home):
        pass
