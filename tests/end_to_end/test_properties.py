"""What must not matter does not, from files to metrics: hand, scale, row order, and loading twice."""

import json
import shutil
import tempfile
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import builders
import made_swings as made
from command import underfoot_command
from warehouse.home import Home
from warehouse.store import open_snapshot

SLOW = settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
SEEDS = st.integers(0, 10_000)
MASSES = st.floats(35, 130)
RATES = st.sampled_from([125.0, 200.0, 250.0, 500.0])


def load(home: Home, drop: Path) -> dict:
    ran = underfoot_command("load", drop, "--home", home.path, "--json")
    assert ran.stderr == ""
    return json.loads(ran.stdout)


def metrics(home: Home, session: str) -> list[dict]:
    snapshot = open_snapshot(home)
    rows = snapshot.sql("SELECT * FROM academy.swing_metric WHERE session = ? ORDER BY swing_no", [session])
    snapshot.close()
    return rows.drop("session").to_dicts()


def assert_alike(one: list[dict], other: list[dict], within: float) -> None:
    assert len(one) == len(other) > 0
    for a, b in zip(one, other, strict=True):
        for name, value in a.items():
            if isinstance(value, float):
                assert b[name] == pytest.approx(value, abs=within, rel=within), name
            else:
                assert b[name] == value, name


@pytest.fixture(scope="module")
def with_roster(tmp_path_factory) -> Path:
    """A home whose roster is loaded, to be copied for every example."""
    folder = tmp_path_factory.mktemp("with_roster")
    home = builders.make_home(folder / "academy")
    load(home, made.write_roster(folder / "drop"))
    return home.path


@pytest.fixture
def drop(with_roster):
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(with_roster, Path(folder) / "with_roster")
        yield Path(folder)


def fresh(drop: Path) -> tuple[Home, Path]:
    base = Path(tempfile.mkdtemp(dir=drop))
    return builders.copied(drop / "with_roster", Home(base / "academy")), base / "drop"


@SLOW
@given(seed=SEEDS, mass=MASSES, rate=RATES)
def test_a_left_handers_swing_equals_its_mirror_image_and_loading_twice_changes_nothing(
    drop, seed, mass, rate
):
    home, folder = fresh(drop)
    frame = made.swing_frame(rate_hz=rate, body_mass_kg=mass, seed=seed)
    made.write_session(folder / "r", made.session_toml("r", student="s1"), made.sided(frame, "right"))
    made.write_session(folder / "l", made.session_toml("l", student="s2"), made.sided(frame, "left"))
    assert sorted(load(home, folder)["accepted"]) == ["l", "r"]
    right = metrics(home, "r")
    assert_alike(right, metrics(home, "l"), 0.0)
    again = load(home, folder)
    assert again["accepted"] == []
    assert sorted(again["unchanged"]) == ["l", "r"]
    assert metrics(home, "r") == right


@SLOW
@given(seed=SEEDS, factor=st.floats(0.5, 1.8))
def test_a_heavier_golfer_with_the_same_swing_has_the_same_metrics(drop, seed, factor):
    home, folder = fresh(drop)
    frame = made.swing_frame(seed=seed)
    heavy = frame.with_columns(pl.col("lead_n", "trail_n") * factor)
    made.write_session(folder / "a", made.session_toml("a"), frame)
    made.write_session(folder / "b", made.session_toml("b"), heavy)
    load(home, folder)
    assert_alike(metrics(home, "a"), metrics(home, "b"), 2e-3)


@SLOW
@given(seed=SEEDS, data=st.data())
def test_the_order_of_swings_in_a_file_does_not_matter(drop, seed, data):
    home, folder = fresh(drop)
    swings = [made.swing_frame(no, seed=seed + no) for no in (1, 2, 3)]
    order = data.draw(st.permutations(range(3)))
    made.write_session(folder / "a", made.session_toml("a", swings=3), pl.concat(swings))
    made.write_session(folder / "b", made.session_toml("b", swings=3), pl.concat([swings[i] for i in order]))
    load(home, folder)
    assert_alike(metrics(home, "a"), metrics(home, "b"), 0.0)
