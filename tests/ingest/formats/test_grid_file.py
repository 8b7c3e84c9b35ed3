"""Every way a grid's file can be written, damaged or hostile."""

import io
import zipfile
from dataclasses import replace

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import made_grids
from made_grids import read_frames
from warehouse.errors import Refused


def read(made, folder):
    return read_frames(made.write(folder / "frames.npz"), device_options={}, handed="right")


def write_parquet(made, path, *, fixed=False, metadata=None, cells=None):
    flat = made.pressure.reshape(len(made.pressure), -1)
    if cells is not None:
        flat = flat[:, :cells]
    kind = pa.list_(pa.float32(), flat.shape[1]) if fixed else pa.list_(pa.float32())
    table = pa.table(
        {"t_s": made.t_s, "swing_no": made.swing_no, "pressure": pa.array(list(flat), type=kind)}
    )
    held = {"rows": "44", "cols": "62", "pitch_mm": "10"} if metadata is None else metadata
    pq.write_table(table.replace_schema_metadata(held), path)
    return path


@pytest.mark.parametrize("fixed", [False, True])
def test_parquet_frames_are_read_as_the_archive_is(tmp_path, fixed):
    made = made_grids.make(rate=50)
    path = write_parquet(made, tmp_path / "frames.parquet", fixed=fixed)
    grid = read_frames(path, device_options={}, handed="right")
    assert grid.samples.equals(read(made, tmp_path).samples)


@pytest.mark.parametrize("dtype", ["float64", "float16", "uint16", ">f4"])
def test_other_number_types_and_orders_are_read(tmp_path, dtype):
    made = made_grids.make(rate=50)
    pressure = np.asfortranarray((made.pressure if "f" in dtype else np.round(made.pressure)).astype(dtype))
    grid = read(replace(made, pressure=pressure), tmp_path)
    wanted = read(made, tmp_path).samples
    assert np.allclose(grid.samples["lead_n"], wanted["lead_n"], rtol=0.02)


def refused(path, **options):
    with pytest.raises(Refused) as told:
        read_frames(path, device_options=options, handed="right")
    refusal = told.value.refusal
    assert refusal.file == path.name
    assert refusal.sentence.startswith(path.name)
    assert refusal.sentence.endswith(".")
    assert refusal.sentence.count(". ") == 0
    return refusal


@pytest.mark.parametrize("name", ["pressure", "t_s", "pitch_mm"])
def test_a_missing_array_is_named(tmp_path, name):
    refusal = refused(made_grids.make(rate=50, seconds=1).write(tmp_path / "frames.npz", **{name: None}))
    assert (refusal.reason, refusal.column) == ("missing_column", name)


@pytest.mark.parametrize(
    ("changes", "reason", "column"),
    [
        ({"pressure": np.zeros((50, 40))}, "bad_shape", "pressure"),
        ({"pressure": np.zeros((50, 4, 62))}, "bad_shape", "pressure"),
        ({"pressure": np.zeros((50, 44, 900), dtype=np.uint8)}, "bad_shape", "pressure"),
        ({"pressure": np.zeros((0, 44, 62))}, "empty_file", "pressure"),
        ({"pressure": np.zeros((50, 44, 62), dtype=complex)}, "bad_value", "pressure"),
        ({"pressure": np.full((50, 44, 62), "x")}, "bad_value", "pressure"),
        ({"pressure": np.zeros((50, 44, 62))}, "feet_not_found", "pressure"),
        ({"pressure": np.full((50, 44, 62), np.nan)}, "empty_value", "pressure"),
        ({"t_s": np.arange(49) / 50}, "bad_shape", "t_s"),
        ({"t_s": np.full(50, np.nan)}, "bad_value", "t_s"),
        ({"swing_no": np.ones(51, dtype=int)}, "bad_shape", "swing_no"),
        ({"swing_no": np.full(50, 1.5)}, "bad_value", "swing_no"),
        ({"swing_no": np.full(50, np.nan)}, "bad_value", "swing_no"),
        ({"swing_no": np.full(50, -1)}, "bad_value", "swing_no"),
        ({"pitch_mm": np.nan}, "bad_value", "pitch_mm"),
        ({"pitch_mm": np.inf}, "bad_value", "pitch_mm"),
        ({"pitch_mm": 0.01}, "bad_value", "pitch_mm"),
        ({"pitch_mm": [10.0, 10.0]}, "bad_value", "pitch_mm"),
    ],
)
def test_arrays_that_do_not_fit_are_refused_in_one_sentence(tmp_path, changes, reason, column):
    refusal = refused(made_grids.make(rate=50, seconds=1).write(tmp_path / "frames.npz", **changes))
    assert (refusal.reason, refusal.column) == (reason, column)


def changed(kpa):
    made = made_grids.make(rate=50)
    made.pressure[12, 30, 40] = kpa
    return made


@pytest.mark.parametrize("kpa", [-40.0, 90_000.0, np.inf, -np.inf])
def test_negative_and_absurd_pressures_are_refused_with_their_place(tmp_path, kpa):
    refusal = refused(changed(kpa).write(tmp_path / "frames.npz"))
    assert refusal.reason == "out_of_range"
    assert "frame 12, row 30, column 40" in refusal.sentence


@pytest.mark.parametrize("factor", [0.01, 11.0])
def test_a_total_that_no_golfer_weighs_is_refused(tmp_path, factor):
    made = made_grids.make(rate=50)
    refusal = refused(
        replace(made, pressure=made.pressure * np.float32(factor)).write(tmp_path / "frames.npz")
    )
    assert refusal.reason == "out_of_range"
    assert "swing 1" in refusal.sentence


def test_a_grid_that_was_not_zeroed_is_refused(tmp_path):
    made = made_grids.make(rate=50)
    refusal = refused(replace(made, pressure=made.pressure + np.float32(3)).write(tmp_path / "frames.npz"))
    assert refusal.reason == "stuck"


def test_one_foot_in_every_swing_is_refused(tmp_path):
    made = made_grids.make(rate=50)
    made.pressure[:, :, 31:] = 0
    assert refused(made.write(tmp_path / "frames.npz")).reason == "feet_not_found"


def test_an_unknown_turn_of_the_grid_is_refused(tmp_path):
    path = made_grids.make(rate=50, seconds=1).write(tmp_path / "frames.npz")
    assert 'rows = "sideways"' in refused(path, rows="sideways").sentence
    assert refused(path, columns=3).reason == "bad_device"


@pytest.mark.parametrize("damage", ["text", "cut", "flipped", "empty"])
def test_a_damaged_archive_is_unreadable(tmp_path, damage):
    path = made_grids.make(rate=50, seconds=1).write(tmp_path / "frames.npz")
    data = bytearray(path.read_bytes())
    if damage == "flipped":
        data[len(data) // 2] ^= 0xFF  # caught by the archive's own check sum
    path.write_bytes({"text": b"frames", "cut": data[: len(data) // 2], "empty": b""}.get(damage, data))
    assert refused(path).reason == "unreadable"


def archive(path, header_shape, payload, *, name="pressure", pickled=None):
    made = made_grids.make(rate=50, seconds=1)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as held:
        for other in ("t_s", "swing_no", "pitch_mm"):
            if other != name:
                buffer = io.BytesIO()
                np.save(buffer, getattr(made, other))
                held.writestr(f"{other}.npy", buffer.getvalue())
        buffer = io.BytesIO()
        if pickled is None:
            header = {"descr": "<f4", "fortran_order": False, "shape": header_shape}
            np.lib.format.write_array_header_1_0(buffer, header)
            buffer.write(payload)
        else:
            np.save(buffer, pickled, allow_pickle=True)
        held.writestr(f"{name}.npy", buffer.getvalue())
    return path


def test_an_archive_that_declares_more_than_it_holds_is_not_unpacked(tmp_path):
    assert refused(archive(tmp_path / "a.npz", (50, 44, 62), b"\0" * 400)).reason == "unreadable"
    assert refused(archive(tmp_path / "b.npz", (4_000_000, 500, 500), b"\0")).reason == "too_large"
    assert refused(archive(tmp_path / "c.npz", (2**40,), b"\0", name="t_s")).reason == "unreadable"


def test_an_archive_that_unpacks_a_thousandfold_is_not_unpacked(tmp_path):
    frames = 6000
    path = archive(tmp_path / "bomb.npz", (frames, 60, 50), bytes(frames * 60 * 50 * 4))
    assert path.stat().st_size < 200_000
    assert refused(path).reason == "unreadable"


def test_objects_in_an_archive_are_never_unpickled(tmp_path):
    class Loud:
        def __reduce__(self):
            return (pytest.fail, ("unpickled",))

    path = archive(tmp_path / "frames.npz", None, None, pickled=np.array([Loud()], dtype=object))
    assert refused(path).reason == "bad_value"


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"metadata": {"rows": "44", "cols": "62"}}, "missing_column"),
        ({"metadata": {"rows": "44", "cols": "sixty", "pitch_mm": "10"}}, "missing_column"),
        ({"metadata": {"rows": "44", "cols": "61", "pitch_mm": "10"}}, "bad_shape"),
        ({"metadata": {"rows": "44", "cols": "61.5", "pitch_mm": "10"}}, "bad_shape"),
        ({"metadata": {"rows": "44", "cols": "62", "pitch_mm": "1000"}}, "bad_value"),
        ({"cells": 2000}, "bad_shape"),
    ],
)
def test_parquet_frames_that_do_not_fit_are_refused(tmp_path, change, reason):
    path = write_parquet(made_grids.make(rate=50, seconds=1), tmp_path / "frames.parquet", **change)
    assert refused(path).reason == reason


def test_parquet_of_another_kind_is_refused(tmp_path):
    path = tmp_path / "frames.parquet"
    pl.DataFrame({"t_s": [0.0], "swing_no": [1]}).write_parquet(path)
    assert refused(path).reason == "missing_column"
    pl.DataFrame({"t_s": [0.0], "swing_no": [1], "pressure": [1.0]}).write_parquet(path)
    assert refused(path).reason == "bad_shape"
    path.write_bytes(b"PAR1nothingPAR1")
    assert refused(path).reason == "unreadable"
    assert refused(path.rename(tmp_path / "frames.dat")).reason == "unreadable"
