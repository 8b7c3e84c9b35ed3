"""SIGKILL at random moments of *Save* on *New session*: nothing of it is lost, halved or doubled."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
KILLS, SEED = 10, 20261130


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_save_killed_at_any_moment_is_whole_or_not_there_and_saving_again_doubles_nothing(tmp_path):
    """In a process of its own, which forks before it starts a thread; most of the time goes into imports."""
    call = [sys.executable, str(TESTS / "killed_saves.py"), str(tmp_path), str(SEED), str(KILLS)]
    path = {**os.environ, "PYTHONPATH": f"{TESTS.parent}:{TESTS}", "POLARS_MAX_THREADS": "1"}
    ran = subprocess.run(call, capture_output=True, text=True, check=False, timeout=300, env=path)
    assert ran.returncode == 0, ran.stderr[-2000:]
    found = json.loads(ran.stdout.splitlines()[-1])
    print(found)
    assert (found["broken"], found["lost"]) == ([], [])
    assert found["each"] == [1] * 2 * KILLS  # each student's session of each recording, once
    assert found["swings"] == [1] * 2 * KILLS
    assert found["killed_at_work"]  # how many depends on how busy the machine is
