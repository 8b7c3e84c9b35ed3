"""Sensor grids and C3D recordings as a session's samples: they land as a plate file of the same swing does."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

import made_c3d
import made_grids
import planted_recordings

GRID = '\n[device.grid]\nkind = "sensor_grid"\n[device.turned]\nkind = "sensor_grid"\nrows = "toes_first"\n'
PLATFORMS = '\n[device.platforms]\nkind = "force_plates"\nlead_platform = 1\n'


@pytest.fixture
def academy(bare, made):
    bare.home.settings_file.write_text(made.settings + GRID + PLATFORMS)
    bare.roster()
    assert bare.load().refused == []
    return bare


@pytest.fixture(scope="module")
def frames():
    return made_grids.make(rate=100.0)


def test_frames_of_a_grid_land_as_samples_with_measured_heels(academy, made, frames):
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=1, device="grid"))
    frames.write(folder / "frames.npz")
    report = academy.load()
    assert report.refused == []
    assert report.notices == []
    trace = academy.trace("v1")
    assert np.allclose(trace.columns["lead_n"], frames.left[:, 0], rtol=0.02, atol=8)
    assert np.allclose(trace.columns["lead_heel_n"], frames.left[:, 3], rtol=0.1, atol=25)
    assert academy.sql("SELECT heel_source, rate_hz FROM academy.swing").rows() == [("measured", 100.0)]
    assert len(academy.sql("SELECT stance_mm FROM academy.session").item()) == 8


def test_filled_sensors_are_counted_on_every_swing_and_named_in_the_report(academy, made, frames):
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=1, device="grid"))
    pressure = frames.pressure.copy()
    pressure[:, 15, 20] = 0.0  # dead, under the lead foot
    pressure[:, 3, 3], pressure[:, 35, 44] = 90.0, 12.0  # stuck
    frames.write(folder / "frames.npz", pressure=pressure)
    report = academy.load()
    flags = academy.sql("SELECT file_flags, file_flag_counts, flags, flag_counts FROM academy.swing").row(0)
    assert flags == (["sensors_filled"], [3], ["sensors_filled"], [3])
    (notice,) = report.to_json()["notices"]
    assert notice.startswith("Session v1, frames.npz: 1 sensor read nothing under a foot and 2 sensors never")
    assert "\n" not in notice


def test_a_grid_turned_in_academy_toml_reads_the_same(academy, made, frames):
    made_folder = made.deliver(academy.inbox / "v1", made.toml(swings=1, device="grid"))
    frames.write(made_folder / "frames.npz")
    turned = made.deliver(academy.inbox / "v2", made.toml("v2", swings=1, device="turned"))
    frames.write(turned / "frames.npz", pressure=frames.pressure[:, ::-1, :])
    assert academy.load().refused == []
    one, other = academy.trace("v1"), academy.trace("v2")
    for name, values in one.columns.items():
        assert np.array_equal(values, other.columns[name], equal_nan=True), name


def test_a_swing_whose_feet_are_not_found_is_flagged_and_the_other_reduced(academy, made, frames):
    blank = np.zeros_like(frames.pressure)
    blank[:, 5:8, 5:8] = 100.0
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=2, device="grid", events={}))
    frames.write(
        folder / "frames.npz",
        pressure=np.concatenate([frames.pressure, blank]),
        t_s=np.concatenate([frames.t_s, frames.t_s]),
        swing_no=np.repeat([1, 2], len(frames.t_s)),
    )
    assert academy.load().refused == []
    rows = academy.sql("SELECT swing_no, n_samples, file_flags FROM academy.swing ORDER BY 1").rows()
    assert rows == [(1, 300, ["unmarked"]), (2, 0, ["feet_not_found", "unmarked"])]


def test_a_grid_file_that_is_none_is_refused_in_one_sentence(academy, made):
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=1, device="grid"))
    (folder / "frames.npz").write_bytes(bytes(range(256)) * 9)
    (refused,) = academy.load().refused
    assert refused.sentence.startswith("Session v1, frames.npz")
    assert academy.left_in_inbox() == []


@pytest.fixture(scope="module")
def lesson():
    """A few balls with a practice swing before each; and from when on the player stands elsewhere."""
    player = replace(planted_recordings.QUIET, practice=(1,), step_off=0.0)
    found = planted_recordings.recording(player, seed=4, minutes=1.6, rate_hz=50.0, broken_off=0.0)
    return found, float(np.median([one.events["impact"] for one in found.of("swing")])) + 6.0


def assert_cut(academy, found):
    """Each planted swing with a ball is one, practice swings are left out, and nothing else is found."""
    rows = academy.sql(
        "SELECT kind, pace, club, t0_s, t0_s + n_samples / rate_hz AS end_s, swing_no FROM academy.swing ORDER BY t0_s"
    )
    for kind, theirs in (("swing", "swing"), ("practice", "practice_swing")):
        at = [one.events["impact"] for one in found.of(kind)]
        own = rows.filter(kind=theirs)
        assert len(own) == len(at) > 1
        assert all(a < t < b for t, a, b in zip(at, own["t0_s"], own["end_s"], strict=True))
    assert rows["kind"].is_in(["swing", "practice_swing"]).all()
    return rows.filter(kind="swing")


def test_a_c3d_recording_that_runs_on_is_cut_and_each_swing_read_by_where_the_feet_were(
    academy, made, lesson
):
    found, steps_at_s = lesson
    sheet = made.toml(swings=[], device="platforms").replace("club", 'pace = "slow"\nclub', 1)
    folder = made.deliver(academy.inbox / "v1", sheet)
    labels = tuple(("Impact", one.events["impact"]) for one in found.of("swing")[:2])
    setup = made_c3d.Setup(steps_at_s=steps_at_s, events=labels)
    made_c3d.write_recording(folder / "plate.c3d", found, setup)
    report = academy.load()
    assert report.refused == []
    [notice] = report.to_json()["notices"]
    assert f"{len(found.of('swing'))} swings found" in notice
    swings = assert_cut(academy, found)
    assert set(swings["pace"]) == {"slow"}
    marked = academy.sql("SELECT swing_no, t_s FROM academy.swing_event WHERE source = 'marked' ORDER BY 1")
    assert marked["swing_no"].to_list() == swings["swing_no"].to_list()[:2]
    assert np.allclose(marked["t_s"], [at for _, at in labels], atol=0.001)
    trace = academy.trace("v1")
    for no in (swings["swing_no"][0], swings["swing_no"][-1]):  # before and after the step
        t_s, columns = trace.swing(no)
        place = np.searchsorted(found.t_s, t_s + 1e-6) - 1
        load, along = found.right_n[place], found.right_along_pct[place]
        assert np.allclose(columns["trail_n"], load, atol=0.5)
        heavy = load > 100.0
        assert np.allclose(columns["trail_along_pct"][heavy], along[heavy], atol=1.0)


def test_frames_that_run_on_are_cut_and_each_swing_read_by_its_own_prints(academy, made, lesson):
    found, steps_at_s = lesson
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=[], device="grid"))
    made_grids.write_recording(folder / "frames.npz", found, steps_at_s)
    assert academy.load().refused == []
    swings = assert_cut(academy, found)
    trace = academy.trace("v1")
    for no in (swings["swing_no"][0], swings["swing_no"][-1]):
        t_s, columns = trace.swing(no)
        place = np.searchsorted(found.t_s, t_s + 1e-6) - 1
        assert np.allclose(columns["lead_n"], found.left_n[place], rtol=0.03, atol=15.0)
        heels = columns["lead_heel_n"] / np.maximum(columns["lead_n"], 1.0)
        assert 0.2 < np.median(heels) < 0.8  # by another place of the feet it would be near 0 or 1


@pytest.mark.parametrize("device", ["platforms", "grid"])
def test_where_nobody_swings_a_recording_is_refused_and_says_so(academy, made, device):
    found = planted_recordings.recording(
        planted_recordings.QUIET, seed=3, minutes=0.7, rate_hz=50.0, balls=False
    )
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=[], device=device))
    if device == "grid":
        made_grids.write_recording(folder / "frames.npz", found)
    else:
        made_c3d.write_recording(folder / "plate.c3d", found)
    (refused,) = academy.load().refused
    assert refused.reason == "no_swing_found"
    assert academy.sql("SELECT count(*) FROM academy.swing").item() == 0


def swing(made):
    return made.plate(1, rate_hz=250)


def recording(swings, **files):
    """session.toml with a recording for each swing."""
    return "".join(f'\n[[swing]]\nno = {no}\nfile = "{files[f"f{no}"]}"\n' for no in swings)


def test_a_c3d_recording_lands_as_the_plate_file_it_was_made_from(academy, made):
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=1, device="platforms"))
    made_c3d.write_c3d(folder / "plate.c3d", swing(made), made_c3d.Setup())
    report = academy.load()
    assert report.refused == []
    trace, frame = academy.trace("v1"), swing(made)
    n = len(trace.columns["lead_n"])
    for name in ("lead_n", "trail_n", "lead_along_pct", "trail_along_pct"):
        assert np.allclose(trace.columns[name], frame[name].to_numpy()[:n], atol=0.05), name
    assert len(academy.sql("SELECT stance_mm FROM academy.session").item()) == 8


def test_each_swing_names_its_own_recording_and_a_bad_one_refuses_only_its_swing(academy, made):
    sheet = made.toml(swings=[], device="platforms") + recording(
        [1, 2, 3], f1="a.c3d", f2="b.c3d", f3="c.c3d"
    )
    folder = made.deliver(academy.inbox / "v1", sheet)
    made_c3d.write_c3d(folder / "a.c3d", swing(made), made_c3d.Setup())
    (folder / "b.c3d").write_bytes(b"not a recording at all" * 40)
    report = academy.load()
    assert report.accepted == ["v1"]
    assert [(r.swing_no, r.session) for r in report.refused] == [(2, "v1"), (3, "v1")]
    assert report.refused[0].sentence.startswith("Swing 2 of v1, b.c3d")
    assert "c.c3d" in report.refused[1].sentence
    assert academy.sql("SELECT swing_no FROM academy.swing").rows() == [(1,)]


def test_a_recording_that_no_swing_names_is_refused(academy, made):
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=2, device="platforms"))
    made_c3d.write_c3d(folder / "plate.c3d", swing(made), made_c3d.Setup())
    (refused,) = academy.load().refused
    assert refused.reason == "unmatched_swing"
    assert "plate.c3d" in refused.sentence


def test_a_plate_file_and_a_recording_stand_in_one_session(academy, made):
    sheet = made.toml(swings=1, device="platforms") + recording([2], f2="b.c3d")
    folder = made.deliver(academy.inbox / "v1", sheet, made.plate(1))
    made_c3d.write_c3d(folder / "b.c3d", swing(made), made_c3d.Setup())
    assert academy.load().refused == []
    trace = academy.trace("v1")
    assert trace.swing_no.tolist() == [1, 2]
    assert trace.rate_hz.tolist() == pytest.approx([100.0, 250.0])
    assert pl.Series(trace.swing(1)[1]["cop_x_mm"]).is_nan().all()


def test_events_labelled_in_a_recording_count_unless_the_coach_marked_them(academy, made):
    sheet = made.toml(swings=1, device="platforms", events={"top": 1.2})
    folder = made.deliver(academy.inbox / "v1", sheet)
    labels = (("Top of Backswing", 1.1), ("Impact", 1.5))
    made_c3d.write_c3d(folder / "plate.c3d", swing(made), made_c3d.Setup(events=labels))
    assert academy.load().refused == []
    rows = academy.sql("SELECT event, round(t_s, 3) FROM academy.swing_event ORDER BY t_s").rows()
    assert rows == [("top", 1.2), ("impact", 1.5)]
