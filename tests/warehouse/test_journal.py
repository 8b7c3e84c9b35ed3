"""Following a run: one line a step on stderr with -v, and nothing without it."""

import logging
import re

import pytest

import made_swings as made
from command import underfoot_command
from warehouse import journal

WINGS = ("warehouse", "ingest", "models", "dashboard", "demo_academy")
STEP = re.compile(r"^\d{4}-\d\d-\d\d [\d:,]+ [a-z_.]+: .+$")


@pytest.fixture
def quiet_again(monkeypatch):
    """Whatever a test turns on is off after it."""
    monkeypatch.setenv(journal.VERBOSE, "")
    yield
    for wing in WINGS:
        log = logging.getLogger(wing)
        log.handlers.clear()
        log.setLevel(logging.NOTSET)


@pytest.fixture
def inbox(home):
    home.make_folders()
    made.write_roster(home.inbox)
    made.write_session(home.inbox / "v1", made.session_toml("v1"), made.swing_frame(rate_hz=100))
    return home


def test_a_swing_can_be_followed_from_its_delivery_to_the_published_file(inbox, quiet_again):
    ran = underfoot_command("-v", "load", "--home", inbox.path)
    assert ran.returncode == 0, ran.stderr
    steps = [line for line in ran.stderr.splitlines() if STEP.match(line)]
    wanted = [
        "ingest.load: found v1",
        "ingest.sessions: read v1",
        "ingest.outcomes: wrote the trace of v1",
        "ingest.outcomes: landed v1",
        "models.plan: made academy.swing_metric",
        "models.plan: made academy.swing_fault",
        "models.plan: made season.student_trend",
        "warehouse.publishing: published warehouse-000001.duckdb",
    ]
    at = [next((i for i, line in enumerate(steps) if text in line), None) for text in wanted]
    assert None not in at, (wanted[at.index(None)], steps)
    assert at == sorted(at)
    assert all(re.search(r"\(\d+\.\d{3} s\)$", line) for line in steps if ": found " not in line)


def test_without_the_option_nothing_is_shown(inbox):
    assert not [
        line
        for line in underfoot_command("load", "--home", inbox.path).stderr.splitlines()
        if STEP.match(line)
    ]


def test_a_step_that_fails_says_by_what(caplog):
    log = logging.getLogger("models.somewhere")
    with (
        caplog.at_level(logging.INFO),
        pytest.raises(ValueError, match="odd"),
        journal.step(log, "read %s", "v1"),
    ):
        raise ValueError("odd")
    assert re.fullmatch(r"read v1: ValueError after 0\.\d{3} s", caplog.messages[0])
