"""What cannot be loaded: one sentence each, exit code 1, nothing half-loaded, no traceback."""

import json

import polars as pl
import pytest

import builders
import made_swings as made
from command import underfoot_command
from warehouse.store import open_snapshot
from warehouse.tables import table_names


def load(path, home):
    return underfoot_command("load", path, "--home", home.path, "--json")


def contents(home):
    """Every row of every table but the list of refusals, and what counts or names them."""
    snapshot = open_snapshot(home)
    tables = {
        name: sorted(map(repr, snapshot.sql(f"SELECT * FROM {name}").rows()))
        for name in table_names()
        if name not in {"academy.refusal", "season.data_health"} and not name.startswith("season.signal")
    }
    snapshot.close()
    return tables


@pytest.fixture(scope="module")
def academy(tmp_path_factory):
    base = tmp_path_factory.mktemp("bad")
    home = builders.make_home(base / "academy")
    drop = made.write_roster(base / "drop")
    made.write_session(drop / "good", made.session_toml("good"), made.swing_frame(seed=4))
    assert load(drop, home).returncode == 0
    return home


FRAME = made.swing_frame(seed=5)
CASES = {
    "a missing column": (FRAME.drop("trail_n"), "trail_n"),
    "a time given twice in the only swing": (FRAME.vstack(FRAME.slice(100, 1)), "twice"),
}


@pytest.mark.parametrize("case", CASES)
def test_a_bad_delivery_is_refused_in_one_sentence_and_leaves_nothing(case, academy, tmp_path):
    """Of the command; every kind of bad delivery is in tests/ingest/test_refused_sessions.py."""
    frame, expected = CASES[case]
    made.write_session(tmp_path / "delivery", made.session_toml("bad"), frame)
    before = contents(academy)
    ran = load(tmp_path / "delivery", academy)
    assert ran.returncode == 1, ran.stderr
    assert "Traceback" not in ran.stderr + ran.stdout
    said = json.loads(ran.stdout)
    assert said["accepted"] == []
    assert len(said["refused"]) == 1, said["refused"]
    sentence = said["refused"][0]["sentence"]
    assert "\n" not in sentence.strip()
    assert expected in sentence
    assert contents(academy) == before


def test_one_bad_swing_does_not_refuse_the_good_ones(academy, tmp_path):
    frame = made.swing_frame(1, seed=6).vstack(
        made.swing_frame(2, seed=7).with_columns(pl.lit(9e6).alias("lead_n"))
    )
    made.write_session(tmp_path / "mixed", made.session_toml("mixed", swings=2), frame)
    ran = load(tmp_path / "mixed", academy)
    said = json.loads(ran.stdout)
    assert ran.returncode == 1
    assert said["accepted"] == ["mixed"]
    assert [(r["session"], r["swing_no"], r["column"]) for r in said["refused"]] == [("mixed", 2, "lead_n")]
    snapshot = open_snapshot(academy)
    assert snapshot.sql("SELECT swing_no FROM academy.swing WHERE session = 'mixed'").rows() == [(1,)]
    snapshot.close()
