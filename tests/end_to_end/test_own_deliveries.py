"""The command on deliveries that the demo did not make, as a stranger's script would call it."""

import json
import subprocess
import sys

import polars as pl
import pytest

import builders
import made_swings as made
from command import underfoot_command


def underfoot(*words, home):
    return underfoot_command(*words, "--home", home)


def rows(query, home):
    ran = underfoot("sql", query, "--format", "json", home=home)
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """A home with five sessions of two students: each device and side, one with notes and shots."""
    base = tmp_path_factory.mktemp("own")
    home = builders.make_home(base / "academy")
    drop = made.write_roster(base / "drop")
    three = (
        made.swing_frame(1, seed=1).vstack(made.swing_frame(2, seed=2)).vstack(made.swing_frame(3, seed=3))
    )
    made.write_session(drop / "v1", made.session_toml("v1", swings=3), three)
    made.write_session(
        drop / "v2", made.session_toml("v2", swings=3), made.sided(three, "right"), "plate.parquet"
    )
    made.write_session(
        drop / "v3", made.session_toml("v3", student="s2", swings=3), made.sided(three, "left")
    )
    imperial = made.sided(three, "right").select(
        Rep="swing_no",
        Clock=pl.col("t_s") * 1000,
        **{
            "L Force": pl.col("left_n") / 4.4482216152605,
            "R Force": pl.col("right_n") / 4.4482216152605,
            "L Pos": pl.col("left_along_pct") / 100 * 250 / 25.4,
            "R Pos": pl.col("right_along_pct") / 100 * 250 / 25.4,
        },
    )
    made.write_session(drop / "v4", made.session_toml("v4", device="imperial", swings=3), imperial)
    notes = made.write_session(
        drop / "v5", made.session_toml("v5", swings=0).replace('device = "mat"\n', ""), None
    )
    (notes / "notes.csv").write_text(
        "session,student,at,author,kind,swing_no,code,grade,value,value_to,unit,pace,place,text,shared\n"
        'v5,,2026-05-05T10:20:00+01:00,c1,saw,,trail_push,2,,,,,,"pushes, a little",true\n'
    )
    ran = underfoot("load", drop, "--json", home=home.path)
    assert ran.stderr == "", ran.stderr
    return home.path, drop, ran


def test_load_prints_one_json_object_and_exits_0(loaded):
    _, _, ran = loaded
    said = json.loads(ran.stdout)
    assert sorted(said["accepted"]) == ["v1", "v2", "v3", "v4", "v5"]
    assert said["refused"] == []
    assert said["rows"]["person"] == 7
    assert said["rows"]["note"] == 1
    assert ran.returncode == 0


def test_every_swing_has_its_metrics_and_every_way_of_writing_it_gives_the_same(loaded):
    home, _, _ = loaded
    found = rows("SELECT * FROM academy.swing_metric ORDER BY swing_no, session", home)
    assert len(found) == 12
    for no in (1, 2, 3):
        first, *others = [row for row in found if row["swing_no"] == no]
        for other in others:
            for name, value in first.items():
                if name == "session":
                    continue
                if isinstance(value, float):
                    # float32 samples and inches with 15 digits: a ten-thousandth of a point is the same
                    assert other[name] == pytest.approx(value, abs=2e-3), (no, other["session"], name)
                else:
                    assert other[name] == value, (no, other["session"], name)


def test_the_values_are_those_the_swing_was_made_with(loaded):
    home, _, _ = loaded
    row = rows("SELECT * FROM academy.swing_metric WHERE session = 'v1' AND swing_no = 1", home)[0]
    for name, truth, within in (
        ("address_lead_share_pct", 50, 1.5),
        ("mid_back_trail_share_pct", 70, 1.5),
        ("mid_down_lead_share_pct", 70, 1.5),
        ("impact_lead_share_pct", 74, 1.5),
        ("finish_lead_share_pct", 92, 1.5),
        ("backswing_s", 0.8, 0.012),
        ("downswing_s", 0.26, 0.012),
    ):
        assert row[name] == pytest.approx(truth, abs=within), name


def test_a_sound_swing_raises_no_fault(loaded):
    home, _, _ = loaded
    assert rows("SELECT session, swing_no, fault FROM academy.swing_fault WHERE flagged", home) == []


def test_the_season_tables_follow(loaded):
    home, _, _ = loaded
    found = rows(
        "SELECT session, n FROM season.session_metric WHERE metric = 'mid_back_trail_share_pct' ORDER BY session",
        home,
    )
    assert found == [{"session": s, "n": 3} for s in ("v1", "v2", "v3", "v4")]


def test_as_its_own_process_it_prints_the_same_object_and_keeps_stderr_empty(loaded):
    home, drop, _ = loaded
    ran = subprocess.run(
        [sys.executable, "-m", "underfoot", "load", str(drop / "v1"), "--home", str(home), "--json"],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert json.loads(ran.stdout)["unchanged"] == ["v1"]
    assert ran.stderr == ""
    assert ran.returncode == 0


def test_the_same_bytes_again_are_unchanged_and_change_nothing(loaded):
    home, drop, _ = loaded
    before = rows("SELECT * FROM academy.swing_metric ORDER BY session, swing_no", home)
    ran = underfoot("load", drop, "--json", home=home)
    said = json.loads(ran.stdout)
    assert said["accepted"] == []
    assert sorted(said["unchanged"]) == ["v1", "v2", "v3", "v4", "v5"]
    assert ran.returncode == 0
    assert rows("SELECT * FROM academy.swing_metric ORDER BY session, swing_no", home) == before


def test_build_gives_the_same_rows_as_the_loads(loaded):
    home, _, _ = loaded
    query = "SELECT * FROM season.session_metric ORDER BY session, metric, part, pace"
    before = rows(query, home)
    ran = underfoot("build", home=home)
    assert ran.returncode == 0, ran.stderr
    assert rows(query, home) == before


def test_sql_speaks_three_formats_and_refuses_changes(loaded):
    home, _, _ = loaded
    assert underfoot("sql", "SELECT 1 AS a", "--format", "csv", home=home).stdout == "a\n1\n"
    assert json.loads(underfoot("sql", "SELECT 1 AS a", "--format", "json", home=home).stdout) == [{"a": 1}]
    assert "a" in underfoot("sql", "SELECT 1 AS a", home=home).stdout
    for query in ("DROP TABLE academy.swing", "SELECT * FROM nowhere"):
        ran = underfoot("sql", query, home=home)
        assert ran.returncode == 2
        assert ran.stderr.count("\n") == 1
        assert "Traceback" not in ran.stderr


def test_a_wrong_call_exits_2_with_one_sentence(loaded, tmp_path):
    home, _, _ = loaded
    for words in (("load", tmp_path / "nowhere"), ("page", "nobody")):
        ran = underfoot(*words, home=home)
        assert ran.returncode == 2, ran
        assert len(ran.stderr.strip().splitlines()) == 1
    assert underfoot("jump", home=home).stderr.count("\n") == 1
    assert underfoot("sql", "SELECT 1", home=tmp_path / "empty").returncode == 2
