"""What cannot be loaded: one sentence each, exit code 1, nothing half-loaded, no traceback."""

import json
import re

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


TOML = made.session_toml("bad")
FRAME = made.swing_frame(seed=5)


def missing_column(folder):
    made.write_session(folder, TOML, FRAME.drop("trail_n"))


def values_in_a_wrong_unit(folder):
    made.write_session(folder, TOML, FRAME.with_columns(pl.col("lead_n", "trail_n") * 1000))


def a_unit_nobody_knows(folder):
    made.write_session(folder, made.session_toml("bad", device="odd"), FRAME.rename({"t_s": "Clock"}))


def unknown_student(folder):
    made.write_session(folder, made.session_toml("bad", student="s99"), FRAME)


def unknown_device(folder):
    made.write_session(folder, made.session_toml("bad", device="abacus"), FRAME)


def time_without_offset(folder):
    made.write_session(folder, made.session_toml("bad", started_at="2026-05-05T10:00:00"), FRAME)


def empty_file(folder):
    made.write_session(folder, TOML, None)
    (folder / "plate.csv").write_bytes(b"")


def header_only(folder):
    made.write_session(folder, TOML, FRAME.head(0))


def binary_file(folder):
    made.write_session(folder, TOML, None)
    (folder / "plate.csv").write_bytes(bytes(range(256)) * 40)


def binary_parquet(folder):
    made.write_session(folder, TOML, None)
    (folder / "plate.parquet").write_bytes(b"PAR1" + bytes(range(256)) * 40)


def events_out_of_order(folder):
    events = {**made.EVENTS, "top": made.EVENTS["mid_down"] + 0.01}
    made.write_session(folder, made.session_toml("bad", events=events), FRAME)


def a_time_given_twice(folder):
    made.write_session(folder, TOML, FRAME.vstack(FRAME.slice(100, 1)))


def text_among_numbers(folder):
    made.write_session(folder, TOML, FRAME.with_columns(pl.lit("many").alias("lead_n")))


def broken_toml(folder):
    made.write_session(folder, TOML + "\nno no no", FRAME)


def no_consent(folder):
    made.write_session(folder, made.session_toml("bad", started_at="2025-05-05T10:00:00+01:00"), FRAME)


def an_id_that_climbs_out(folder):
    made.write_session(folder, TOML.replace('"bad"', '"../bad"'), FRAME)


CASES = {
    missing_column: "trail_n",
    values_in_a_wrong_unit: "6,?000|6000",
    a_unit_nobody_knows: "odd",
    unknown_student: "s99",
    unknown_device: "abacus",
    time_without_offset: "offset",
    empty_file: "empty",
    header_only: r"plate\.csv",
    binary_file: r"plate\.csv",
    binary_parquet: r"plate\.parquet",
    events_out_of_order: "order|before|after",
    a_time_given_twice: "twice",
    text_among_numbers: "lead_n",
    broken_toml: r"session\.toml",
    no_consent: "consent",
    an_id_that_climbs_out: "session",
}


@pytest.mark.parametrize("make", CASES, ids=lambda make: make.__name__)
def test_a_bad_delivery_is_refused_in_one_sentence_and_leaves_nothing(make, academy, tmp_path):
    make(tmp_path / "delivery")
    before = contents(academy)
    ran = load(tmp_path / "delivery", academy)
    assert ran.returncode == 1, ran.stderr
    assert "Traceback" not in ran.stderr + ran.stdout
    said = json.loads(ran.stdout)
    assert said["accepted"] == []
    assert len(said["refused"]) == 1, said["refused"]
    sentence = said["refused"][0]["sentence"]
    assert "\n" not in sentence.strip()
    assert re.search(CASES[make], sentence), sentence
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


def test_an_academy_without_consents_is_told_once_in_one_sentence(tmp_path):
    home = builders.make_home(tmp_path / "academy")
    drop = made.write_roster(tmp_path / "drop", consents=False)
    made.write_session(drop / "v1", made.session_toml("v1"), FRAME)
    ran = load(drop, home)
    said = json.loads(ran.stdout)
    assert ran.returncode == 1
    assert len(said["refused"]) == 1
    assert "consents.csv" in said["refused"][0]["sentence"]
    assert "kept elsewhere" in said["refused"][0]["sentence"]
