"""One swing written as a C3D recording reads back as the plate rows it was made from."""

from contextlib import suppress
from functools import partial

import numpy as np
import pytest

import made_c3d
import made_swings
from ingest.formats import c3d_file
from ingest.formats.c3d_child import contents
from ingest.formats.c3d_feet import C3dSetup
from ingest.formats.c3d_file import marker_place, plate_axes
from ingest.formats.c3d_platforms import moment_unit, ordered_corners, surface_vector
from made_c3d import FEET, Setup, read_c3d
from warehouse.errors import Refused

ROWS = made_swings.swing_frame(rate_hz=250.0)


@pytest.fixture
def in_this_process(monkeypatch):
    """Good files need no process of their own, and read in a hundredth of the time without one."""
    monkeypatch.setattr(c3d_file, "_read_apart", lambda path: contents(str(path)))


def written_and_read(folder, setup, rows=ROWS, **call):
    path = made_c3d.write_c3d(folder / "plate.c3d", rows, setup)
    given = {
        "lead_platform": setup.lead_number,
        "handed": setup.handed,
        "stance_mm": None,
        "foot_length_mm": None,
    }
    return read_c3d(path, C3dSetup(**(given | call)))


@pytest.fixture
def read(tmp_path, in_this_process):
    return partial(written_and_read, tmp_path)


def refusal(call):
    with pytest.raises(Refused) as told:
        call()
    assert told.value.refusal.file == "plate.c3d"
    assert str(told.value).startswith("plate.c3d")
    assert str(told.value).endswith(".")
    assert "\n" not in str(told.value)
    return told.value.refusal


def assert_same_swing(recording, rows=ROWS):
    """Shares within a point and along within 2 %, wherever the foot carries 5 % of the usual load."""
    ours = recording.samples
    rows = rows.head(ours.height)
    total = (rows["lead_n"] + rows["trail_n"]).to_numpy()
    share = 100 * ours["lead_n"] / (ours["lead_n"] + ours["trail_n"])
    assert np.abs(share.to_numpy() - 100 * rows["lead_n"].to_numpy() / total).max() < 1.0
    assert np.abs((ours["lead_n"] + ours["trail_n"]).to_numpy() - total).max() < 0.01 * total.max()
    for foot in ("lead", "trail"):
        carries = rows[f"{foot}_n"].to_numpy() > 0.05 * np.median(total)
        along = ours[f"{foot}_along_pct"].to_numpy()
        assert np.abs(along - rows[f"{foot}_along_pct"].to_numpy())[carries].max() < 2.0
        assert np.abs(ours[f"{foot}_across_mm"].to_numpy()[carries]).max() < 1.0
    assert recording.stance_mm == pytest.approx(list(FEET.ravel()), abs=0.01)


@pytest.mark.parametrize("handed", ["right", "left"])
@pytest.mark.parametrize("kind", [1, 2, 3, 4])
def test_every_type_of_platform_gives_the_same_swing_for_both_hands(read, kind, handed):
    recording = read(Setup(kind=kind, handed=handed))
    assert_same_swing(recording)
    assert np.diff(recording.samples["t_s"]) == pytest.approx(1 / 250.0)


@pytest.mark.parametrize(
    "setup",
    [
        Setup(turn_deg=(180.0, 270.0)),
        Setup(turn_deg=(90.0, 180.0), handed="left"),
        Setup(room_deg=37.0),
        Setup(room_deg=-120.0, y_up=True, handed="left"),
        Setup(corner_order=(0, 1, 3, 2)),
        Setup(corner_order=(0, 2, 1, 3)),
        Setup(surface=(30.0, -20.0, -45.0)),
        Setup(surface=(30.0, -20.0, -45.0), backward_origin=True),
        Setup(surface=(30.0, -20.0, -45.0), kind=4),
        Setup(surface=(30.0, -20.0, -45.0), kind=1),
        Setup(pushes_down=True),
        Setup(pushes_down=True, kind=3),
        Setup(unit="m"),
        Setup(unit="m", kind=3),
        Setup(unit="m", kind=4),
        Setup(unit="cm", kind=1),
        Setup(moment_unit="Nm"),
        Setup(moment_unit="Nm", kind=4),
        Setup(points_every=1),
        Setup(mirrored_room=True),
    ],
    ids=str,
)
def test_how_platforms_are_mounted_and_written_changes_nothing(read, setup):
    assert_same_swing(read(setup))


def test_the_whole_body_centre_is_the_load_weighted_mean_of_both_feet(read):
    frame = read(Setup()).samples.row(0, named=True)
    lead = FEET[0] + frame["lead_along_pct"] / 100 * (FEET[1] - FEET[0])
    trail = FEET[2] + frame["trail_along_pct"] / 100 * (FEET[3] - FEET[2])
    both = (frame["lead_n"] * lead + frame["trail_n"] * trail) / (frame["lead_n"] + frame["trail_n"])
    assert [frame["cop_x_mm"], frame["cop_y_mm"]] == pytest.approx(list(both), abs=0.01)


def test_a_left_handers_recording_equals_the_right_handers_mirror_image(read):
    right, left = read(Setup()).samples, read(Setup(handed="left")).samples
    for name in right.columns:
        assert left[name].to_numpy() == pytest.approx(right[name].to_numpy(), abs=0.01, nan_ok=True)


def test_an_unloaded_foot_has_no_centre_of_pressure(read):
    light = ROWS.with_columns(trail_n=ROWS["trail_n"] * (ROWS["t_s"] < 12.5))
    recording = read(Setup(kind=1), light)
    off = recording.samples["t_s"] >= 2.5
    assert recording.samples.filter(off)["trail_along_pct"].null_count() == off.sum()
    assert recording.samples.filter(off)["trail_across_mm"].null_count() == off.sum()
    assert recording.samples.filter(off)["cop_x_mm"].null_count() == 0


def test_the_clock_starts_at_the_first_frame_and_events_stand_on_it(read):
    events = (
        ("Address", 1.5),
        ("take away", 2.0),
        ("MID_BACK", 2.5),
        ("Foot Strike", 2.6),
        ("impact", 61.25),
    )
    recording = read(Setup(first_frame=44, events=events))
    assert recording.samples["t_s"][0] == pytest.approx(44 / 50)
    assert recording.samples["t_s"].diff().drop_nulls().to_numpy() == pytest.approx(1 / 250)
    assert recording.events == pytest.approx(
        {"address": 1.5, "takeaway": 2.0, "mid_back": 2.5, "impact": 61.25}, abs=1e-4
    )


def test_an_event_that_stands_twice_is_refused(read):
    told = refusal(lambda: read(Setup(events=(("Top", 1.0), ("top", 1.2)))))
    assert told.reason == "event_twice"
    assert "1.000 s and at 1.200 s" in told.sentence


def test_a_stored_body_mass_is_handed_on(read):
    assert read(Setup(body_mass_kg=64.5)).body_mass_kg == pytest.approx(64.5, abs=1e-4)
    assert read(Setup()).body_mass_kg is None
    assert read(Setup(body_mass_kg=0.0)).body_mass_kg is None


@pytest.mark.parametrize("handed", ["right", "left"])
@pytest.mark.parametrize("lead_number", [1, 2])
def test_markers_tell_which_platform_is_lead(read, handed, lead_number):
    setup = Setup(handed=handed, lead_number=lead_number)
    assert_same_swing(read(setup, lead_platform=None))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("handed", ["right", "left"])
@pytest.mark.parametrize("lead_number", [1, 2])
def test_a_stance_stands_in_for_markers(read, handed, lead_number, mirrored):
    setup = Setup(handed=handed, lead_number=lead_number, markers=None, mirrored_room=mirrored)
    recording = read(setup, stance_mm=list(FEET.ravel()))
    assert_same_swing(recording)


def test_a_stance_that_fits_both_orders_asks_for_the_lead_platform(read):
    told = refusal(lambda: read(Setup(markers=None), lead_platform=None, stance_mm=list(FEET.ravel())))
    assert told.reason == "lead_platform_unknown"


def test_a_stance_beside_the_load_is_refused(read):
    told = refusal(lambda: read(Setup(markers=None), stance_mm=[v + 700 for v in FEET.ravel()]))
    assert told.reason == "stance_off_platforms"


def test_a_stance_with_no_length_is_refused(read):
    told = refusal(lambda: read(Setup(markers=None), stance_mm=[0.0] * 8))
    assert told.reason == "no_foot_axis"


@pytest.mark.parametrize("markers", [None, ("lead_heel", "lead_toe"), ("lead_heel", "trail_heel")])
def test_without_a_foot_axis_the_recording_is_refused(read, markers):
    told = refusal(lambda: read(Setup(markers=markers)))
    assert told.reason == "no_foot_axis"
    assert "[stance]" in told.sentence


def test_fewer_than_two_platforms_are_refused(read):
    told = refusal(lambda: read(Setup(platforms=1)))
    assert told.reason == "few_platforms"
    assert "1 force platform but two" in told.sentence


@pytest.mark.parametrize("foot", ["lead", "trail"])
def test_an_idle_platform_is_reported(read, foot):
    told = refusal(lambda: read(Setup(idle=foot)))
    assert told.reason == "feet_not_found"
    assert f"platform {1 if foot == 'lead' else 2} never carries load" in told.sentence


def test_a_lead_platform_that_contradicts_the_markers_is_refused(read):
    assert refusal(lambda: read(Setup(), lead_platform=2)).reason == "lead_platform_contradicted"


@pytest.mark.parametrize("number", [0, 3])
def test_a_lead_platform_that_is_not_there_is_refused(read, number):
    assert refusal(lambda: read(Setup(), lead_platform=number)).reason == "no_such_platform"


def test_toe_markers_on_the_ball_are_moved_out_to_the_known_foot_length(read):
    on_ball = FEET.copy()
    lengths = np.linalg.norm(FEET[[1, 3]] - FEET[[0, 2]], axis=1)
    on_ball[[1, 3]] = FEET[[0, 2]] + 0.72 * (FEET[[1, 3]] - FEET[[0, 2]])
    told = read(Setup(feet=on_ball), foot_length_mm=float(lengths.mean())).stance_mm
    assert told == pytest.approx(list(FEET.ravel()), abs=1.0)
    kept = read(Setup(feet=on_ball)).stance_mm
    assert kept == pytest.approx(list(on_ball.ravel()), abs=0.01)


@pytest.mark.parametrize(
    ("label", "place"),
    [
        ("LHEE", ("left", "heel")),
        ("RTOE", ("right", "toe")),
        ("Subject 1:LTOE", ("left", "toe")),
        ("Left Heel", ("left", "heel")),
        ("heel_r", ("right", "heel")),
        ("R.Heel", ("right", "heel")),
        ("lead toe tip", ("lead", "toe")),
        ("TrailHeel", ("trail", "heel")),
        ("right_hallux", ("right", "toe")),
        ("LMT2", None),
        ("club heel", None),
        ("left club toe", None),
        ("wheel", None),
        ("heel", None),
    ],
)
def test_marker_labels_name_their_place(label, place):
    assert marker_place(label) == place


def test_other_labels_for_the_markers_read_the_same(read):
    labels = {
        "lead_heel": "left heel",
        "lead_toe": "Left_Toe",
        "trail_heel": "Trail-Heel",
        "trail_toe": "TOE R",
    }
    assert_same_swing(read(Setup(labels=labels)))


def test_a_bow_tie_becomes_a_loop_that_keeps_an_edge():
    loop = np.array([[2.0, 3, 0], [-2, 3, 0], [-2, -3, 0], [2, -3, 0]])
    for order in ([0, 1, 2, 3], [0, 1, 3, 2], [0, 2, 1, 3]):
        assert ordered_corners(loop[order]) == pytest.approx(loop)
    assert plate_axes(loop) == pytest.approx(np.eye(3))


def test_a_positive_origin_depth_is_the_opposite_vector():
    # c3d.org user guide, FORCE_PLATFORM:ORIGIN: the z component is negative when the origin lies below the surface.
    assert list(surface_vector(np.array([5.0, -3.0, 40.0]), 2)) == [-5.0, 3.0, -40.0]
    assert list(surface_vector(np.array([5.0, -3.0, -40.0]), 4)) == [5.0, -3.0, -40.0]
    assert list(surface_vector(np.array([210.0, 350.0, 58.0]), 3)) == [0.0, 0.0, -58.0]


def test_moments_without_a_unit_are_newton_metres_only_when_newton_millimetres_cannot_be():
    load = np.full(50, 400.0)
    force = np.stack([load * 0, load * 0, load])
    moment_nmm = np.stack([load * 80.0, load * -40.0, load * 0])
    assert moment_unit("", 1.0, np.vstack([force, moment_nmm])) == 1.0
    assert moment_unit("", 1.0, np.vstack([force, moment_nmm / 1000])) == 1000.0
    assert moment_unit("", 1000.0, np.vstack([force, moment_nmm / 1000])) == 1000.0
    assert moment_unit("nmm", 1.0, np.vstack([force, moment_nmm / 1000])) == 1.0


def test_corners_of_no_rectangle_are_refused(read):
    told = refusal(lambda: read(Setup(corner_order=(0, 0, 0, 0))))
    assert told.reason == "platforms_unfit"


def test_a_swing_reads_the_same_through_a_process_of_its_own(tmp_path):
    assert_same_swing(written_and_read(tmp_path, Setup()))


@pytest.mark.parametrize(
    "data", [b"", b"swing_no,t_s\n1,0\n" * 100, b"\x02\x50" + b"\0" * 2000, b"\x50" * 5000]
)
def test_what_is_not_a_c3d_file_is_refused(tmp_path, data):
    path = tmp_path / "plate.c3d"
    path.write_bytes(data)
    told = refusal(lambda: read_c3d(path, C3dSetup("right", lead_platform=1)))
    assert told.reason in {"not_c3d", "unreadable"}


@pytest.mark.parametrize("share", [0.3, 0.9, 0.98])
def test_a_recording_cut_short_is_refused(tmp_path, share):
    path = made_c3d.write_c3d(tmp_path / "plate.c3d", ROWS, Setup())
    whole = path.read_bytes()
    path.write_bytes(whole[: int(share * len(whole))])
    told = refusal(lambda: read_c3d(path, C3dSetup("right", lead_platform=1)))
    assert told.reason == "cut_short"
    assert "of 200 frames" in told.sentence


@pytest.mark.parametrize("how", ["os.abort()", "sys.exit(3)", "print('not an archive')"])
def test_a_reader_that_crashes_is_a_refusal(tmp_path, monkeypatch, how):
    path = made_c3d.write_c3d(tmp_path / "plate.c3d", ROWS, Setup())
    (tmp_path / "child.py").write_text(f"import os, sys\n{how}\n")
    monkeypatch.setattr(c3d_file, "CHILD", tmp_path / "child.py")
    told = refusal(lambda: read_c3d(path, C3dSetup("right", lead_platform=1)))
    assert told.reason == "unreadable"


@pytest.mark.parametrize("seed", range(10))
def test_flipped_bytes_are_refused_or_read_but_never_crash(tmp_path, seed):
    path = made_c3d.write_c3d(tmp_path / "plate.c3d", ROWS, Setup())
    data, rng = bytearray(path.read_bytes()), np.random.default_rng(seed)
    reach = 24 if seed % 3 == 0 else 3000  # the header alone, or header and parameters
    for at in rng.integers(2, reach, 12):
        data[at] = rng.integers(0, 256)
    path.write_bytes(data)
    with suppress(Refused):
        read = read_c3d(path, C3dSetup("right", lead_platform=1))
        assert read.samples.height > 0
