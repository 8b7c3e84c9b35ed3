"""`load --explain` says what a file is, asks what it leaves open, and prints the recipe by which it loads."""

import json
import tomllib

import numpy as np
import pytest

import made_swings as made
import odd_exports as odd
from command import underfoot_command
from ingest.formats.explanation import Knowing
from ingest.formats.format import explain
from warehouse.devices import read_devices
from warehouse.errors import UnderfootError

MOST_LINES = 40  # of a terminal


def samples():
    return made.sided(made.swing_frame(rate_hz=250.0, body_mass_kg=70.0, seed=5), "right")


def written(tmp_path, name):
    export = next(export for export in odd.exports() if export.name == name)
    for file, data in export.files.items():
        (tmp_path / file).write_bytes(data)
    return tmp_path / next(iter(export.files))


def test_a_file_with_our_own_names_needs_no_table(tmp_path):
    samples().write_csv(tmp_path / "plate.csv")
    found = explain(tmp_path / "plate.csv")
    assert found.table is None
    assert found.facts["device table"] == "none is needed: every column has our own name"
    assert found.facts["rate"] == "250 Hz"


def test_a_position_is_asked_for_unless_the_header_says_that_it_counts_from_the_heel(tmp_path):
    found = explain(written(tmp_path, "position from the heel, unsaid"))
    assert [question.key for question in found.questions] == ["origin"]
    assert found.table is None
    assert explain(written(tmp_path, "pipes")).questions == []


def test_loads_that_several_units_fit_are_asked_for_until_the_body_mass_decides(tmp_path):
    path = written(tmp_path, "kilograms, unsaid")
    assert [question.key for question in explain(path).questions] == ["unit"]
    assert 'unit = "kgf"' in explain(path, Knowing({}, odd.BODY_MASS_KG)).table
    pounds = written(tmp_path, "pounds, unsaid")
    assert 'unit = "lbf"' in explain(pounds, Knowing({}, odd.BODY_MASS_KG)).table


def test_the_body_mass_is_that_of_the_session_beside_the_file(tmp_path):
    path = written(tmp_path, "kilograms, unsaid")
    (tmp_path / "session.toml").write_text(f"body_mass_kg = {odd.BODY_MASS_KG}\n")
    ran = underfoot_command("load", "--explain", path)
    assert ran.returncode == 0
    assert 'unit = "kgf"' in ran.stdout


def test_an_answer_without_its_question_and_one_that_is_none_are_named(tmp_path):
    path = written(tmp_path, "pipes")
    assert underfoot_command("load", "--explain", path, "--answer", "heel").returncode == 2
    ran = underfoot_command("load", "--explain", path, "--answer", "colour=blue")
    assert ran.returncode == 1
    assert '"colour" is no column or question of this file' in " ".join(ran.stdout.split())


@pytest.mark.parametrize("export", list(odd.exports()), ids=lambda export: export.name)
def test_what_is_printed_of_an_odd_export_is_at_most_a_screen(tmp_path, export):
    for file, data in export.files.items():
        (tmp_path / file).write_bytes(data)
    ran = underfoot_command("load", "--explain", tmp_path / next(iter(export.files)))
    assert ran.stdout.count("\n") + ran.stderr.count("\n") <= MOST_LINES
    assert "Traceback" not in ran.stdout + ran.stderr


@pytest.mark.parametrize("line", ['layout.swings = "odd"', 'layout.colour = "blue"', "layout = 3"])
def test_a_layout_that_is_none_is_refused_in_one_sentence(line):
    with pytest.raises(UnderfootError, match=r"device\.mat\.layout"):
        read_devices({"mat": {"kind": "pressure_mat", **tomllib.loads(line)}}, "academy.toml")


@pytest.mark.parametrize("entry", ['origin = "ankle"', 'scale = "two"', 'share_of = "hands"', "column = []"])
def test_arithmetic_that_is_none_is_refused_in_one_sentence(entry):
    columns = {"left_n": {"column": "L"} | tomllib.loads(entry)}
    with pytest.raises(UnderfootError, match="left_n"):
        read_devices({"mat": {"kind": "pressure_mat", "columns": columns}}, "academy.toml")


def test_a_recording_and_a_parquet_file_are_explained_too(tmp_path):
    samples().write_parquet(tmp_path / "plate.parquet")
    assert explain(tmp_path / "plate.parquet").facts["rows"] == "1000"
    np.savez(
        tmp_path / "frames.npz",
        pressure=np.full((4, 60, 80), 3.0, dtype=np.float32),
        t_s=np.arange(4) / 100,
        pitch_mm=10.0,
        swing_no=np.ones(4, dtype=int),
    )
    found = explain(tmp_path / "frames.npz")
    assert found.facts["grid"] == "60 rows × 80 columns at 10 mm: 600 mm from heels to toes, 800 mm across"
    assert found.facts["rate"] == "100 Hz"
    assert 'kind = "sensor_grid"' in found.table


def test_notes_are_explained_by_their_rules(tmp_path):
    (tmp_path / "notes.csv").write_text(
        "student,at,author,kind,code,grade\ns1,2026-05-05T10:00:00Z,c1,saw,late_crossing,9\n"
    )
    found = explain(tmp_path / "notes.csv")
    assert found.facts["rows"] == "1"
    assert found.doubts == ["line 2, grade: 9 must be 0 to 3"]


def test_the_command_prints_it_in_words_and_as_json(tmp_path):
    path = written(tmp_path, "pipes")
    ran = underfoot_command("load", "--explain", path)
    assert ran.returncode == 0
    assert "[device.mine.columns]" in ran.stdout
    ran = underfoot_command("load", "--explain", path, "--json")
    assert json.loads(ran.stdout) == explain(path).to_json()


def test_a_file_that_is_not_text_is_reported_in_the_sentence_of_a_load(tmp_path):
    (tmp_path / "plate.csv").write_bytes(b"\x00\x01\x02\xff" * 50)
    ran = underfoot_command("load", "--explain", tmp_path / "plate.csv")
    assert ran.returncode == 1
    assert ran.stderr.count("\n") == 1
    assert "is not text" in ran.stderr
