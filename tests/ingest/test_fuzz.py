"""Hundreds of mutated deliveries through every reader: one sentence or a sound session, never anything else."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.delivery import STRAY, Contents, Delivery
from ingest.files import Files
from ingest.load import open_job
from ingest.reading import read_session
from ingest.refusals import UNREADABLE
from warehouse.errors import Refused
from warehouse.store import writer

TESTS = Path(__file__).parents[1]
DELIVERIES = int(os.environ.get("FUZZED_DELIVERIES", "400"))  # tests/PROMISES.md has the result of 2,000
RECORDINGS, SEED = DELIVERIES // 33, 20260501


@pytest.mark.slow
def test_mutated_deliveries_end_in_a_sentence_or_a_whole_session(tmp_path):
    """Bytes flipped, cut, doubled, moved, replaced; every reader."""
    ran = subprocess.run(
        [
            sys.executable,
            str(TESTS / "fuzzed_deliveries.py"),
            *map(str, (tmp_path, SEED, DELIVERIES, RECORDINGS)),
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=900,
        env={**os.environ, "PYTHONPATH": f"{TESTS.parent}:{TESTS}", "PYTHONWARNINGS": "error"},
    )
    assert ran.returncode == 0, ran.stderr[-3000:]
    assert "Traceback" not in ran.stderr
    found = json.loads(ran.stdout.splitlines()[-1])
    print(found)
    assert found["deliveries"] == DELIVERIES
    assert found["by_kind"]["plate.c3d"] == RECORDINGS
    assert len(found["by_kind"]) == 20
    assert found["slowest_read_s"] < 10
    assert max(found["peak_mb"], found["peak_child_mb"]) < 1000
    assert found["outcomes"]["accepted"] > DELIVERIES / 20  # the mutants are near enough to what is right
    assert found["outcomes"]["refused"] > DELIVERIES / 4


CELLS = st.one_of(
    st.text(st.characters(exclude_characters='",\n\r'), max_size=12),
    st.integers().map(str),
    st.floats().map(str),
    st.sampled_from(
        ["", "s1", "c1", "1", "saw", "2026-05-05", "=1+1", "../x", "'; DROP TABLE academy.note; --"]
    ),
)
FILES = {
    "plate.csv": ("swing_no", "t_s", "lead_n", "trail_n", "lead_along_pct", "trail_along_pct"),
    "notes.csv": ("at", "author", "kind", "code", "grade", "text", "shared"),
    "shots.csv": ("swing_no", "carry_m", "side_m"),
    "events.csv": ("swing_no", "event", "t_s", "clock"),
    "clip.csv": ("swing_no", "frame", "point", "x_px", "y_px", "score"),
}


@pytest.mark.parametrize("file", FILES)
def test_any_table_of_a_session_is_read_or_refused_in_one_sentence(file, academy, made):
    """80 tables a file by Hypothesis, the same ones every time."""
    with writer(academy.home) as w:
        accepted = open_job(academy.home, w)
        accepted.use_settings(academy.home.settings())
        job = accepted.job

        @settings(max_examples=80, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
        @given(st.lists(st.lists(CELLS, min_size=3, max_size=7), max_size=6), st.booleans())
        def read(rows, keep_header):
            lines = [FILES[file]] if keep_header else []
            text = "\n".join(",".join(row) for row in [*lines, *rows])
            held = {"session.toml": made.toml(swings=1).encode(), file: text.encode("utf-8", "surrogatepass")}
            if file != "plate.csv":
                held["plate.csv"] = made.plate(1).write_csv().encode()
            delivery = Delivery("session", academy.inbox, "v1", tuple(held), "v1")
            said = "."
            try:
                read_session(Contents(held, "0" * 64, 1), delivery, job.academy)
            except Refused as refused:
                said = refused.refusal.sentence
            except UNREADABLE:
                pass  # the job says so in one sentence
            assert said.endswith(".")
            assert "\n" not in said

        read()


@pytest.mark.parametrize("file", ["people.csv", "coaching.csv", "drills.csv", "seasons.csv", "consents.csv"])
def test_any_roster_file_is_taken_or_refused_in_one_sentence(file, academy, made):
    header = made.roster[file].splitlines()[0]
    with writer(academy.home) as w:
        accepted = open_job(academy.home, w)
        accepted.use_settings(academy.home.settings())
        job = accepted.job

        @settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
        @given(st.lists(st.lists(CELLS, min_size=3, max_size=10), max_size=5))
        def take(rows):
            (academy.inbox / file).write_text(
                "\n".join([header, *(",".join(row) for row in rows)]), "utf-8", "surrogatepass"
            )
            Files(accepted).settle(Delivery("roster", academy.inbox / file, file, (file,)))

        take()
    assert all("\n" not in refused.sentence for refused in job.report.refused)


def test_files_of_no_known_kind_are_refused_by_name(academy):
    with writer(academy.home) as w:
        accepted = open_job(academy.home, w)
        accepted.use_settings(academy.home.settings())
        job = accepted.job
        for name in ("a;b.csv", "'; DROP TABLE academy.person; --.csv", "=1+1.csv", "<b>.csv"):
            (academy.inbox / name).write_text("x")
            Files(accepted).settle(Delivery(STRAY, academy.inbox / name, name, (name,)))
        assert [r.reason for r in job.report.refused] == ["unknown_file"] * 4
        assert w.sql("SELECT count(*) FROM academy.person").item() == 6
