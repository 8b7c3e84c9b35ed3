"""The command's own loader beside the pages: a drop shows in seconds, and both end together."""

import json
import re
import signal
import socket
import subprocess
import sys
import time

import pytest

import builders
import made_swings as made
from command import underfoot_command
from warehouse.publishing import current_name
from warehouse.store import open_snapshot

LIMIT_S = 5.0


def crowding():
    """How much longer than its own work anything takes on this machine just now: 1 when it is quiet."""
    wall, own = time.monotonic(), time.process_time()
    while time.process_time() - own < 0.5:
        pass
    return max(1.0, (time.monotonic() - wall) / 0.5)


class Sessions:
    """The sessions that are published; a snapshot is opened only when another one is."""

    def __init__(self, home):
        self.home, self.name, self.found = home, None, set()

    def __call__(self):
        if current_name(self.home) != self.name:
            snapshot = open_snapshot(self.home)
            self.found = set(snapshot.sql("SELECT session FROM academy.session").to_series())
            self.name = snapshot.name
            snapshot.close()
        return self.found


def wait_for(true, seconds):
    started = time.monotonic()
    while not true():
        if time.monotonic() - started > seconds:
            pytest.fail(f"not within {seconds} s")
        time.sleep(0.05)
    return time.monotonic() - started


def test_a_taken_port_is_refused_in_one_sentence(tmp_path):
    home = builders.make_home(tmp_path / "academy")
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        ran = underfoot_command("serve", "--no-browser", "--port", port, "--home", home.path)
    assert ran.returncode == 1
    assert ran.stdout == ""
    assert " ".join(ran.stderr.split()).startswith(
        f"The dashboard can't use port {port} (Address already in use): end the program that uses it, or choose"
    )
    assert len(ran.stderr.strip().split(". ")) == 1


@pytest.mark.slow
def test_a_drop_shows_within_seconds_and_the_loader_ends_with_the_pages(tmp_path):
    home = builders.make_home(tmp_path / "academy")
    drop = made.write_roster(tmp_path / "drop")
    assert underfoot_command("load", drop, "--home", home.path).returncode == 0
    printed, sessions = tmp_path / "printed", Sessions(home)
    command = [
        sys.executable,
        "-m",
        "underfoot",
        "serve",
        "--no-browser",
        "--port",
        "8971",
        "--home",
        home.path,
    ]
    with printed.open("w") as said:
        serving = subprocess.Popen(command, stdout=said, stderr=subprocess.STDOUT)
    try:
        first = made.write_session(tmp_path / "v0", made.session_toml("v0"), made.swing_frame(seed=1))
        first.rename(home.inbox / "v0")  # the first load also imports and compiles
        wait_for(lambda: "v0" in sessions(), 120)
        took = []
        for number in (1, 2, 3):
            toml = made.session_toml(f"v{number}", started_at=f"2026-05-0{number}T12:00:00Z")
            made.write_session(tmp_path / "next", toml, made.swing_frame(seed=number)).rename(
                home.inbox / f"v{number}"
            )
            took.append(wait_for(lambda n=number: f"v{n}" in sessions(), 60))
        print(f"from drop to publish: {[round(t, 2) for t in took]} s")
        assert sorted(took)[1] < LIMIT_S * crowding()
        assert list(home.inbox.iterdir()) == []
    finally:
        serving.send_signal(signal.SIGTERM)
        ended = serving.wait(timeout=30)
    assert ended == 143
    assert re.fullmatch(
        r"The dashboard is at http://localhost:8971/start\?key=[\w.-]+ \(it works once, in the next 10 minutes; "
        r"Ctrl-C ends the dashboard\)\.\n",
        printed.read_text(),
    )
    (home.inbox / "notes.csv").write_text("student,at,author,kind,text\ns1,2026-05-09,c1,plan,Later.\n")
    time.sleep(3)
    assert (home.inbox / "notes.csv").exists()
    log = [json.loads(line) for line in home.events.read_text().splitlines()]
    assert [line["accepted"] for line in log if line["event"] == "load"][1:] == [1, 1, 1, 1]
    assert [line for line in log if line["event"] == "loader"] == []
