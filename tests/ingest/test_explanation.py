"""Odd exports: `load --explain` says what they are, and the device table it proposes makes them load."""

import json

import numpy as np
import polars as pl
import pytest

import made_swings as made
from command import underfoot_command
from ingest.formats.format import explain
from warehouse.home import Home

N_PER_LBF, N_PER_KGF = 4.4482216, 9.80665
MASS_KG, FOOT_MM = 70.0, 250.0


def samples():
    return made.sided(made.swing_frame(rate_hz=250.0, body_mass_kg=MASS_KG, seed=5), "right")


def scaled(frame, **factors):
    return frame.with_columns(pl.col(name) * factor for name, factor in factors.items())


def text(frame, names, separator=",", comma=False, above="", under=""):
    """The frame as somebody's export, with other names, lines above the header or a line of units under it."""
    body = frame.rename(names).write_csv(separator=separator)
    head, rows = body.split("\n", 1)
    if comma:
        rows = rows.replace(".", ",")
    return above + head + "\n" + under + rows


LBF = {"left_n": 1 / N_PER_LBF, "right_n": 1 / N_PER_LBF}
SIDES = {
    "swing_no": "Swing", "t_s": "Time", "left_n": "Left force", "right_n": "Right force",
    "left_along_pct": "Left position", "right_along_pct": "Right position",
}  # fmt: skip


def exports():
    """Name → (bytes, what must be open). The first group loads with the table as proposed."""
    f = samples()
    t0 = float(f["t_s"][0])
    percent = 100 / (MASS_KG * N_PER_KGF)
    in_inches = scaled(f, **LBF, t_s=1000.0, left_along_pct=FOOT_MM / 2540, right_along_pct=FOOT_MM / 2540)
    in_cm = scaled(
        f, left_n=0.001, right_n=0.001, left_along_pct=FOOT_MM / 1000, right_along_pct=FOOT_MM / 1000
    )
    frames = f.with_columns(t_s=((pl.col("t_s") - t0) * 250).round())
    body = scaled(f, left_n=percent, right_n=percent)
    kilos = scaled(f, left_n=1 / N_PER_KGF, right_n=1 / N_PER_KGF)
    german = text(f, SIDES, separator=";", comma=True)
    return {
        "millimetres_guessed_newtons": text(scaled(f, left_along_pct=2.5, right_along_pct=2.5), SIDES),
        "utf16_tabs": text(f, SIDES, separator="\t").encode("utf-16"),
        "semicolons_and_decimal_commas": german,
        "byte_order_mark": german.encode("utf-8-sig"),
        "inches_pounds_milliseconds": text(
            in_inches,
            {"swing_no": "Rep", "t_s": "Clock ms", "left_n": "L Force (lbf)", "right_n": "R Force (lbf)",
             "left_along_pct": "L CoP [in]", "right_along_pct": "R CoP [in]"},
        ),
        "kilonewtons_and_centimetres": text(
            in_cm, SIDES | {"left_n": "Fz_left_kN", "right_n": "Fz_right_kN", "left_along_pct": "CoP_left_cm",
                            "right_along_pct": "CoP_right_cm"},
        ),
        "kilograms_stated": text(kilos, SIDES | {"left_n": "Left load (kg)", "right_n": "Right load (kg)"}),
        "per_cent_of_body_weight": text(
            body, SIDES | {"left_n": "Left load (% BW)", "right_n": "Right load (% BW)"}
        ),
        "a_strange_column_beside": text(
            f.with_columns(battery=pl.lit(87)), SIDES | {"battery": "Battery"}, separator=";"
        ),
        "lead_and_trail_by_other_words": text(
            made.swing_frame(rate_hz=250.0, body_mass_kg=MASS_KG, seed=5),
            {"swing_no": "trial", "t_s": "seconds time", "lead_n": "front load N", "trail_n": "rear load N",
             "lead_along_pct": "front along %", "trail_along_pct": "rear along %"},
        ),
        # These need a hand first; each says which.
        "lines_above_the_header": text(f, SIDES, above="Recorded in bay 2\nRate: 250 Hz\n\n"),
        "units_under_the_header": text(f, SIDES, under="-,s,N,N,%,%\n"),
        "frames_without_a_rate": text(frames, SIDES | {"t_s": "Frame"}),
        "a_column_twice": text(f, SIDES).replace("Right force", "Left force", 1),
        "shares_instead_of_loads": text(
            f.with_columns(
                left_n=100 * pl.col("left_n") / (pl.col("left_n") + pl.col("right_n")),
                right_n=100 * pl.col("right_n") / (pl.col("left_n") + pl.col("right_n")),
            ),
            SIDES,
        ),
        "loads_that_may_be_pounds_or_kilograms": text(kilos, SIDES),
    }  # fmt: skip


AS_PROPOSED = [
    "millimetres_guessed_newtons", "utf16_tabs", "semicolons_and_decimal_commas", "byte_order_mark",
    "inches_pounds_milliseconds", "kilonewtons_and_centimetres", "kilograms_stated", "per_cent_of_body_weight",
    "a_strange_column_beside", "lead_and_trail_by_other_words",
]  # fmt: skip
OPEN = {
    "lines_above_the_header": "the header is on line 4; remove the 3 lines above it",
    "units_under_the_header": "line 2 holds units, not samples; remove it",
    "frames_without_a_rate": "write their rate for the ? in the table",
    "a_column_twice": 'the column "Left force" appears twice; keep one of them',
    "shares_instead_of_loads": "add up to 100 in every row",
    "loads_that_may_be_pounds_or_kilograms": "both feet together fit several units",
}


@pytest.fixture(scope="module")
def academy(tmp_path_factory):
    """An academy with its people, and a function that loads one plate file under a device table."""
    base = tmp_path_factory.mktemp("explained")
    home = Home(base / "academy")
    home.path.mkdir()
    settings = (
        'name = "The Hollow Oak academy"\ntime_zone = "Europe/Dublin"\n[device.mat]\nkind = "pressure_mat"\n'
    )
    home.settings_file.write_text(settings)
    roster = underfoot_command("load", made.write_roster(base / "roster"), "--home", home.path, "--json")
    assert json.loads(roster.stdout)["refused"] == []

    def load(name, data, table):
        home.settings_file.write_text(settings + (table or ""))
        toml = made.session_toml(name, device="mine", more=f"body_mass_kg = {MASS_KG}")
        folder = made.write_session(base / name, toml, None)
        (folder / "plate.csv").write_bytes(data)
        return json.loads(underfoot_command("load", folder, "--home", home.path, "--json").stdout)

    return home, load


def explained(tmp_path, name):
    data = exports()[name]
    data = data if isinstance(data, bytes) else data.encode()
    (tmp_path / "plate.csv").write_bytes(data)
    return data, explain(tmp_path / "plate.csv")


@pytest.mark.parametrize("name", AS_PROPOSED)
def test_the_proposed_table_makes_an_odd_export_load_with_the_same_loads(tmp_path, academy, name):
    data, told = explained(tmp_path, name)
    assert told.doubts == []
    home, load = academy
    found = load(name, data, told.table)
    assert found["refused"] == []
    assert found["accepted"] == [name]
    rows = underfoot_command(
        "sql", "SELECT address_lead_share_pct, mid_down_lead_share_pct, address_trail_along_pct "
        f"FROM academy.swing_metric WHERE session = '{name}'", "--home", home.path, "--format", "json"
    )  # fmt: skip
    values = list(json.loads(rows.stdout)[0].values())
    assert np.allclose(values, [50.0, 70.0, 50.0], atol=1.0)  # the swing's own key points
    weight = underfoot_command(
        "sql", f"SELECT flags FROM academy.swing WHERE session = '{name}'", "--home", home.path, "--format", "json"
    )  # fmt: skip
    assert "weight_mismatch" not in json.loads(weight.stdout)[0]["flags"]


@pytest.mark.parametrize("name", OPEN)
def test_what_cannot_be_decided_is_asked_for_in_one_sentence_and_a_load_refuses_it_in_one(
    tmp_path, academy, name
):
    data, told = explained(tmp_path, name)
    assert [doubt for doubt in told.doubts if OPEN[name] in doubt]
    _, load = academy
    found = load(name, data, told.table)
    # A line of units costs only itself: the samples below it are a whole swing.
    assert found["accepted"] == ([name] if name == "units_under_the_header" else [])
    assert len(found["refused"]) == 1
    assert found["refused"][0]["sentence"].endswith(".")


def test_the_rate_of_a_clock_that_counts_frames_is_read_above_the_header(tmp_path):
    frames = samples().with_columns(t_s=((pl.col("t_s") - 10.0) * 250).round())
    body = text(frames, SIDES | {"t_s": "Clock [frames]"}, above="Rate: 250 Hz\n")
    (tmp_path / "plate.csv").write_text(body)
    told = explain(tmp_path / "plate.csv")
    assert "rate_hz = 250" in told.table
    assert 'unit = "frames"' in told.table


def test_a_file_with_our_own_names_needs_no_table(tmp_path):
    samples().write_csv(tmp_path / "plate.csv")
    told = explain(tmp_path / "plate.csv")
    assert told.table is None
    assert told.facts["device table"] == "none is needed: every column has our own name"
    assert told.facts["rate"] == "250 Hz"


def test_a_column_that_is_no_ones_is_named_and_left_aside(tmp_path):
    _, told = explained(tmp_path, "a_strange_column_beside")
    assert [column.theirs for column in told.columns if column.ours is None] == ["Battery"]


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
    told = explain(tmp_path / "frames.npz")
    assert told.facts["grid"] == "60 rows × 80 columns at 10 mm: 600 mm from heels to toes, 800 mm across"
    assert told.facts["rate"] == "100 Hz"
    assert 'kind = "sensor_grid"' in told.table


def test_notes_are_explained_by_their_rules(tmp_path):
    (tmp_path / "notes.csv").write_text(
        "student,at,author,kind,code,grade\ns1,2026-05-05T10:00:00Z,c1,saw,late_crossing,9\n"
    )
    told = explain(tmp_path / "notes.csv")
    assert told.facts["rows"] == "1"
    assert told.doubts == ["line 2, grade: 9 must be 0 to 3"]


def test_the_command_prints_it_in_words_and_as_json(tmp_path):
    _, told = explained(tmp_path, "inches_pounds_milliseconds")
    ran = underfoot_command("load", "--explain", tmp_path / "plate.csv")
    assert ran.returncode == 0
    assert "[device.mine.columns]" in ran.stdout
    ran = underfoot_command("load", "--explain", tmp_path / "plate.csv", "--json")
    assert json.loads(ran.stdout) == told.to_json()


def test_a_file_that_is_not_text_is_reported_in_the_sentence_of_a_load(tmp_path):
    (tmp_path / "plate.csv").write_bytes(b"\x00\x01\x02\xff" * 50)
    ran = underfoot_command("load", "--explain", tmp_path / "plate.csv")
    assert ran.returncode == 1
    assert ran.stderr.count("\n") == 1
    assert "is not text" in ran.stderr
