"""What a page shows before anything is kept is what a load makes of the same files."""

from dataclasses import replace
from functools import partial

import numpy as np
import polars as pl
import pytest

import made_c3d
import made_grids
import odd_exports as odd
from ingest.preview import preview
from models.swing.event_estimates import moments
from models.swing.event_fit import EventFit
from planted_recordings import QUIET, Player, recording
from warehouse.preview import Brought
from warehouse.recipes import with_recipe
from warehouse.settings import Settings, parse_settings
from warehouse.vocabulary import EVENTS

ACADEMY = b'name = "Foot first"\ntime_zone = "UTC"\n'


def look(folder, files, settings=None, moments=None, **more):
    """A preview of files dropped into a folder, of a right-handed player."""
    folder.mkdir()
    for name, data in files.items():
        (folder / name).write_bytes(data)
    known = {"handed": "right", "foot_length_mm": odd.FOOT_LENGTH_MM, **more}
    return preview(
        Brought(folder, settings or Settings("Foot first", "UTC"), "s001", "mat", "pressure_mat", **known),
        moments,
    )


def test_what_only_the_owner_knows_is_asked_before_any_swing_is_shown(tmp_path):
    found = look(tmp_path / "a", odd.from_the_toe_unsaid().files)
    assert [question["key"] for question in found.questions] == ["origin"]
    assert (found.swings, found.recipe) == ((), None)
    first = found.explained["columns"][0]["first"]
    assert first == [1.0, 1.0, 1.0]


def test_the_lines_shown_are_the_loads_that_were_measured(tmp_path):
    found = look(tmp_path / "a", odd.from_the_toe_unsaid().files, answers={"origin": "toe"})
    assert [swing.no for swing in found.swings] == list(odd.SWINGS)
    for swing in found.swings:
        truth = odd.swing(swing.no)
        for ours, theirs in ((swing.lead_n, truth.left_n), (swing.trail_n, truth.right_n)):
            assert np.interp(swing.t_s, truth.t_s, theirs) == pytest.approx(ours, abs=0.02)
    assert found.recipe["kind"] == "pressure_mat"
    assert found.recipe["columns"]["left_along_pct"]["origin"] == "toe"


def test_left_and_right_are_those_of_the_player(tmp_path):
    files = odd.from_the_toe_unsaid().files
    right = look(tmp_path / "a", files, answers={"origin": "toe"}).swings[0]
    left = look(tmp_path / "b", files, answers={"origin": "toe"}, handed="left").swings[0]
    assert (left.lead_n, left.trail_n) == (right.trail_n, right.lead_n)
    unsaid = look(tmp_path / "c", files, answers={"origin": "toe"}, handed=None)
    assert unsaid.reasons == {"no_handedness"}


@pytest.fixture
def settings(tmp_path):
    """The settings of an academy that has answered what its mat's exports leave open."""
    found = look(tmp_path / "first", odd.from_the_toe_unsaid().files, answers={"origin": "toe"})
    return parse_settings(with_recipe(ACADEMY, "mat", found.recipe))


def test_a_device_with_a_recipe_is_never_asked_about_again(tmp_path, settings):
    found = look(tmp_path / "next", odd.from_the_toe_unsaid().files, settings)
    assert (found.explained, found.recipe) == (None, None)
    assert len(found.swings) == len(odd.SWINGS)


def test_an_export_of_another_device_is_told_which_column_its_own_would_have(tmp_path):
    columns = (
        '[device.mat]\nkind = "pressure_mat"\n[device.mat.columns]\nt_s = { column = "Clock", unit = "ms" }\n'
    )
    plain = b"swing_no,t_s,lead_n,trail_n,lead_along_pct,trail_along_pct\n1,0.0,300,300,50,50\n"
    found = look(tmp_path / "a", {"Export.csv": plain}, parse_settings(ACADEMY + columns.encode()))
    [(reason, sentence)] = found.problems
    assert reason == "departs"
    assert 'takes t_s from "Clock", which the file does not have; name the device it came from' in sentence


def test_a_later_export_that_departs_from_the_recipe_is_stopped(tmp_path, settings):
    found = look(tmp_path / "next", odd.from_the_heel_unsaid().files | odd.force_only().files, settings)
    assert found.reasons == {"departs"}
    assert found.swings == ()


def test_files_of_one_swing_each_are_numbered_by_their_names(tmp_path):
    files = {name.replace("plate_", "Rep "): data for name, data in odd.one_swing_a_file().files.items()}
    found = look(tmp_path / "a", files)
    assert [swing.no for swing in found.swings] == list(odd.SWINGS)
    assert sorted(found.names.values()) == [f"plate-Rep {no}.csv" for no in odd.SWINGS]


def test_a_recording_that_runs_on_is_shown_cut_with_what_each_swing_is(tmp_path):
    made = recording(Player(practice=(1, 2)), minutes=4.0, seed=3)
    rows = "".join(
        f"{t:.3f},{left:.1f},{right:.1f},45,55\n"
        for t, left, right in zip(made.t_s, made.left_n, made.right_n, strict=True)
    )
    data = f"t_s,left_n,right_n,left_along_pct,right_along_pct\n{rows}".encode()
    found = look(tmp_path / "a", {"Tee 4.csv": data})
    kinds = [swing.kind for swing in found.swings]
    assert kinds.count("swing") == len(made.of("swing"))
    assert "practice_swing" in kinds
    assert all(swing.sure is not None and swing.lead_n for swing in found.swings)


@pytest.mark.parametrize("kind", ["c3d", "npz"])
def test_a_recording_of_platforms_or_a_grid_is_shown_cut_too(tmp_path, kind):
    player = replace(QUIET, practice=(1,), step_off=0.0)
    made = recording(player, seed=4, minutes=1.0, rate_hz=50.0, broken_off=0.0)
    (tmp_path / "made").mkdir()
    if kind == "c3d":
        file = made_c3d.write_recording(tmp_path / "made" / "monday.c3d", made)
    else:
        file = made_grids.write_recording(tmp_path / "made" / "monday.npz", made)
    found = look(tmp_path / "a", {file.name: file.read_bytes()})
    assert (found.questions, found.problems) == ([], ())
    shown = [swing.kind for swing in found.swings]
    assert shown.count("swing") == len(made.of("swing")) > 0
    assert shown.count("practice_swing") == len(made.of("practice"))
    assert all(swing.file is None and swing.sure and len(swing.t_s) > 50 for swing in found.swings)


def test_recordings_of_one_swing_each_are_numbered_by_their_names(tmp_path):
    made = recording(
        replace(QUIET, practice=(0,), step_off=0.0), seed=4, minutes=1.8, rate_hz=50.0, broken_off=0.0
    )
    swings = made.of("swing")[:2]
    files = {}
    for no, swing in zip((10, 9), swings, strict=True):
        part = made.part((made.t_s > swing.start_s - 2.5) & (made.t_s < swing.end_s + 1.5))
        name = f"take {no}.c3d"
        files[name] = made_c3d.write_recording(tmp_path / name, part).read_bytes()
    found = look(tmp_path / "a", files)
    assert [(swing.no, swing.file, swing.sure) for swing in found.swings] == [
        (9, "take 9.c3d", None), (10, "take 10.c3d", None),
    ]  # fmt: skip
    assert (found.problems, found.left_out) == ((), {})


def test_moments_of_a_swing_count_from_its_first_sample(tmp_path):
    made = recording(replace(QUIET, practice=(0,), step_off=0.0), seed=4, minutes=0.8, broken_off=0.0)
    columns = ("t_s", "left_n", "right_n", "left_along_pct", "right_along_pct")
    frame = pl.DataFrame({name: getattr(made, name) for name in columns}).fill_nan(None)
    files = {"plate.csv": frame.write_csv().encode()}
    found = look(tmp_path / "a", files, moments=partial(moments, fit=EventFit({})))
    impacts = [one.events["impact"] for one in made.of("swing")]
    assert len(found.swings) == len(impacts)
    for swing, truth in zip(found.swings, impacts, strict=True):
        at, error = swing.events["impact"]
        assert abs(swing.t0_s + at - truth) < 2.0 * error
        assert list(swing.events) == [event for event in EVENTS if event in swing.events]


def test_a_file_of_the_roster_is_none_of_a_session(tmp_path):
    files = odd.from_the_toe_unsaid().files | {"people.csv": b"person,role\n"}
    assert look(tmp_path / "a", files).reasons == {"roster"}


@pytest.mark.parametrize("data", [b"", b"\0\1\2", b"a,b\n1,2\n"])
def test_what_is_no_export_is_a_sentence_and_no_error(tmp_path, data):
    found = look(tmp_path / "a", {"Export.csv": data})
    assert found.problems or found.doubts or found.questions
    assert not found.swings
