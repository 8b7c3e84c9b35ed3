"""A recording of several people cut into each one's own: their swings, whole, and nobody else's samples."""

import io

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import made_c3d
import made_grids
from ingest.preview import preview
from made_spreadsheets import xlsx
from planted_recordings import CHILD, HEELS, LEFT_HANDED, QUIET, recording
from warehouse.preview import Brought, Player
from warehouse.settings import parse_settings

SETTINGS = b"""name = "Foot first"
time_zone = "UTC"
[device.run]
kind = "force_plates"
[device.run.layout]
swings = "found"
[device.run.columns]
t_s = "t_s"
left_n = "left_n"
right_n = "right_n"
"""
GRID = b'[device.run]\nkind = "sensor_grid"\n'
PLAYERS = {"big": Player(74.0, "right"), "small": Player(35.0, "right"), "none": Player()}


@pytest.fixture(scope="module")
def lesson():
    return recording(QUIET, CHILD, seed=41, minutes=6.0, turn=3, rate_hz=50.0)


def frame(made):
    return pl.DataFrame({name: getattr(made, name) for name in ("t_s", "left_n", "right_n")})


def look(folder, files, settings=SETTINGS, **more):
    folder.mkdir()
    for name, data in files.items():
        (folder / name).write_bytes(data)
    known = {"handed": "right", "players": PLAYERS, **more}
    return preview(Brought(folder, parse_settings(settings), "big", "run", "force_plates", **known))


def written(made, how):
    rows = frame(made)
    if how == "parquet":
        out = io.BytesIO()
        rows.write_parquet(out)
        return "Lesson.parquet", out.getvalue()
    if how == "xlsx":
        return "Lesson.xlsx", xlsx([rows.columns, *rows.rows()])
    text = rows.write_csv(separator=";" if how == "semicolons" else ",")
    if how == "utf-16":
        return "Lesson.csv", text.encode("utf-16")
    return "Lesson.csv", (f"Überschrift\r\nGerät: Matte\r\n{text}" if how == "head" else text).encode()


def own_samples(folder):
    [path] = folder.iterdir()
    if path.suffix == ".parquet":
        return pl.read_parquet(path)
    text = path.read_bytes()
    text = text.decode("utf-16") if text[:2] == b"\xff\xfe" else text.decode()
    body = text[text.index("t_s") :].encode()
    return pl.read_csv(body, separator=";" if b";" in body else ",")


def test_the_shares_are_the_peoples_and_each_has_its_likely_owner(tmp_path, lesson):
    found = look(tmp_path / "a", dict([written(lesson, "plain")]))
    assert [(share.owner, share.likely[0]) for share in found.shares] == [("big", "big"), ("small", "small")]
    assert [share.mass_kg for share in found.shares] == pytest.approx([74.0, 35.0], abs=1.0)
    assert {one for share in found.shares for one in share.likely} == set(PLAYERS)
    numbers = sorted(no for share in found.shares for no in share.swings)
    assert numbers == [swing.no for swing in found.swings]


@pytest.mark.parametrize("how", ["plain", "head", "semicolons", "utf-16", "parquet", "xlsx"])
def test_each_one_keeps_their_swings_as_they_were_found_and_nothing_of_the_other(tmp_path, lesson, how):
    files = dict([written(lesson, how)])
    whole = look(tmp_path / "whole", files)
    assert len(whole.shares) == 2
    of = {swing.no: swing for swing in whole.swings}
    for k, share in enumerate(whole.shares):
        own = look(tmp_path / f"{k}", files, only=share.swings)
        assert own.problems == ()
        assert [swing.kind for swing in own.swings] == [of[no].kind for no in share.swings]
        for swing, no in zip(own.swings, share.swings, strict=True):
            assert swing.seconds == pytest.approx(of[no].seconds, abs=0.1)
            assert max(swing.lead_n) == pytest.approx(max(of[no].lead_n), rel=0.05)
        assert own.shares == ()
        samples = own_samples(tmp_path / f"{k}")
        total = (samples["left_n"] + samples["right_n"]).to_numpy()
        other = whole.shares[1 - k].mass_kg * 9.81
        standing = np.abs(total[total > 100.0] - other) < 0.1 * other
        assert np.mean(standing) < 0.05
        assert list(own.names.values()) == [path.name for path in (tmp_path / f"{k}").iterdir()]


def test_a_swing_moved_to_another_person_goes_with_them(tmp_path, lesson):
    files = dict([written(lesson, "plain")])
    first, second = look(tmp_path / "a", files).shares
    moved = look(tmp_path / "b", files, only=tuple(sorted((*first.swings, second.swings[0]))))
    assert len(moved.swings) == len(first.swings) + 1


def test_alike_people_are_not_told_apart_by_a_guess(tmp_path):
    made = recording(QUIET, LEFT_HANDED, seed=43, minutes=8.0, turn=3)
    players = {"a": Player(74.0, "right"), "b": Player(76.0, "right"), "left": Player(79.0, "left")}
    found = look(tmp_path / "a", dict([written(made, "plain")]), players=players)
    by_hand = {share.likely[0]: share.owner for share in found.shares}
    assert by_hand == {"a": None, "left": "left"}


def test_one_person_is_no_share(tmp_path):
    made = recording(HEELS, seed=44, minutes=4.0)
    found = look(tmp_path / "a", dict([written(made, "plain")]))
    assert found.swings
    assert found.shares == ()


def test_with_a_file_for_each_foot_nothing_is_cut(tmp_path, lesson):
    data = written(lesson, "plain")[1]
    settings = SETTINGS.replace(b'swings = "found"', b'swings = "found"\nfeet = "files"')
    files = {"left.csv": data, "right.csv": data}
    found = look(tmp_path / "a", files, settings=settings, only=(1, 2))
    assert found.problems
    assert sorted(path.read_bytes() for path in (tmp_path / "a").iterdir()) == [data, data]


def platforms(folder, *made):
    """Recordings of platforms, by name: the second sorts before the first as text."""
    return {
        name: made_c3d.write_recording(folder / name, one).read_bytes()
        for name, one in zip(("bay 9.c3d", "bay 10.c3d"), made, strict=False)
    }


def as_parquet(npz):
    """The same grid's frames as a table with a list a row."""
    with np.load(npz) as frames:
        pressure, t_s, pitch = frames["pressure"], frames["t_s"], float(frames["pitch_mm"])
    flat = pa.FixedSizeListArray.from_arrays(pressure.ravel(), pressure[0].size)
    table = pa.table({"t_s": t_s, "pressure": flat})
    size = {"rows": str(pressure.shape[1]), "cols": str(pressure.shape[2]), "pitch_mm": str(pitch)}
    out = io.BytesIO()
    pq.write_table(table.replace_schema_metadata(size), out)
    return out.getvalue()


@pytest.fixture(scope="module")
def small_lesson():
    return recording(QUIET, CHILD, seed=41, minutes=2.5, turn=2, rate_hz=50.0, broken_off=0.0)


@pytest.mark.parametrize("how", ["c3d", "npz", "parquet"])
def test_platforms_and_grids_are_shared_out_alike_with_nothing_of_the_other(tmp_path, small_lesson, how):
    if how == "c3d":
        files = platforms(tmp_path, small_lesson)
    else:
        file = made_grids.write_recording(tmp_path / "frames.npz", small_lesson)
        files = {f"frames.{how}": as_parquet(file) if how == "parquet" else file.read_bytes()}
    settings = SETTINGS if how == "c3d" else SETTINGS.partition(b"[device")[0] + GRID
    whole = look(tmp_path / "whole", files, settings)
    assert [share.owner for share in whole.shares] == ["big", "small"]
    of = {swing.no: swing for swing in whole.swings}
    for k, share in list(enumerate(whole.shares))[how == "parquet" :]:  # one will do to see it is written
        own = look(tmp_path / f"{k}", files, settings, only=share.swings)
        assert (own.problems, own.shares) == ((), ())
        assert [swing.kind for swing in own.swings] == [of[no].kind for no in share.swings]
        for swing, no in zip(own.swings, share.swings, strict=True):
            assert swing.t0_s == pytest.approx(of[no].t0_s, abs=0.1)  # on the clock of the whole
            assert max(swing.lead_n) == pytest.approx(max(of[no].lead_n), rel=0.05)
        assert set(own.names.values()) == {path.name for path in (tmp_path / f"{k}").iterdir()}
        kept = sum(path.stat().st_size for path in (tmp_path / f"{k}").iterdir())
        assert kept < 0.9 * sum(map(len, files.values()))


def test_recordings_dropped_together_are_one_session_in_order_with_a_bad_one_named(tmp_path, small_lesson):
    alone = recording(QUIET, seed=44, minutes=1.2, rate_hz=50.0, broken_off=0.0)
    files = platforms(tmp_path, alone, small_lesson)
    first = look(tmp_path / "first", {"bay 9.c3d": files["bay 9.c3d"]})
    second = look(tmp_path / "second", {"bay 10.c3d": files["bay 10.c3d"]})
    found = look(tmp_path / "a", files | {"bay 11.c3d": b"no recording"})
    n = len(first.swings)
    assert [swing.no for swing in found.swings] == list(range(1, n + len(second.swings) + 1))
    assert [swing.seconds for swing in found.swings[:n]] == [swing.seconds for swing in first.swings]
    assert [swing.kind for swing in found.swings[n:]] == [swing.kind for swing in second.swings]
    assert list(found.left_out) == ["bay 11.c3d"]
    assert "not a C3D file" in found.left_out["bay 11.c3d"]
    assert {path.name for path in (tmp_path / "a").iterdir()} == set(files)
    small = next(share for share in found.shares if share.owner == "small")
    own = look(tmp_path / "own", files, only=small.swings)
    assert len(own.swings) == len(small.swings)
    assert all(name.startswith("bay 10-") for name in own.names.values())


def test_where_no_recording_can_be_read_it_is_said_and_nothing_is_offered(tmp_path):
    found = look(tmp_path / "a", {"a.c3d": b"no recording", "b.c3d": b"nor this"})
    assert (found.swings, found.reasons) == ((), {"not_c3d"})
