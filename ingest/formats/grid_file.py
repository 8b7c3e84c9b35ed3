"""Files of a sensor grid (`frames.npz`, `frames.parquet`) as arrays, opened with care.

frames.npz holds the arrays `pressure` (T, rows, cols; kPa), `t_s` (T), `swing_no` (T) and `pitch_mm` (one
number). frames.parquet holds one row a frame: `t_s`, `swing_no`, and `pressure` as a list (or fixed-size
list) of rows × cols numbers, row after row; the file's key-value metadata gives `rows`, `cols` and
`pitch_mm`. Frames of one swing, or of a recording that runs on, need no `swing_no`. What a file declares is
checked before anything is unpacked, so a small hostile file can't fill the memory.
"""

import math
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.lib import format as npy
from numpy.typing import NDArray

from ingest.refusals import refuse
from warehouse.errors import Refused

MOST_CELLS = 400_000_000  # 20 swings of 5 s at 500 Hz on 80 × 100 sensors; 1.6 GB as we hold them
MOST_SIDE, LEAST_SIDE = 512, 8
MOST_FRAMES = 5_000_000
MOST_SQUEEZED, LARGE_BYTES = 400, 64_000_000  # real frames pack 3 to 100 times smaller; zeros alone 1,000
PITCH_LOW_MM, PITCH_HIGH_MM = 2.0, 30.0
_CHUNK_BYTES = 1 << 24
NUMBER = "swing_no"
_ARRAYS = ("pitch_mm", NUMBER, "t_s", "pressure")
_EXPORT = "export the recording again and deliver the session again"
_BROKEN = (zipfile.BadZipFile, zlib.error, pa.ArrowException, EOFError, RuntimeError, OSError, ValueError)


@dataclass(frozen=True)
class Frames:
    """Frames as delivered: pressure (T, rows, cols) in kPa, clock (T) in s, swing number (T), pitch in mm.

    swing_no is None where the file numbers no swings.
    """

    pressure: NDArray[np.float32]
    t_s: NDArray[np.float64]
    swing_no: NDArray[np.int64] | None
    pitch_mm: float


def open_frames(path: Path) -> Frames:
    """Read frames.npz or frames.parquet; shapes, sizes and the pitch are checked, pressures are not yet.

    Raises
        Refused: unreadable, an array missing or of the wrong shape or kind, too large, no usable pitch.
    """
    kind = path.suffix.lower()
    try:
        if kind == ".npz":
            with zipfile.ZipFile(path) as archive:
                numbered = f"{NUMBER}.npy" in archive.namelist()
                wanted = [name for name in _ARRAYS if numbered or name != NUMBER]
                arrays = {name: _open_member(path, archive, name) for name in wanted}
        elif kind == ".parquet":
            with pq.ParquetFile(path) as file:
                arrays = _read_parquet(path, file)
        else:
            raise _refused(path, "unreadable", "frames come as frames.npz or frames.parquet", _EXPORT)
    except _BROKEN as error:
        what = "the file is not a whole " + (".npz archive" if kind == ".npz" else "Parquet file")
        raise _refused(path, "unreadable", what, _EXPORT) from error
    count = len(arrays["pressure"])
    for name in ("t_s", NUMBER):
        if name in arrays and arrays[name].shape != (count,):
            what = f"{name} has shape {arrays[name].shape} but there are {count} frames"
            raise _refused(path, "bad_shape", what, _EXPORT, name)
    if not np.isfinite(arrays["t_s"]).all():
        raise _refused(path, "bad_value", "t_s holds a time that is not a number", _EXPORT, "t_s")
    number = arrays.get(NUMBER)
    if number is not None and not ((number >= 0) & (number < 2**31) & (number == np.round(number))).all():
        what = "swing_no must hold whole numbers, 0 or more"
        raise _refused(path, "bad_value", what, _EXPORT, NUMBER)
    given = arrays["pitch_mm"]
    pitch = float(given.reshape(-1)[0]) if given.size == 1 else math.nan
    if not PITCH_LOW_MM <= pitch <= PITCH_HIGH_MM:
        what = f"pitch_mm is {pitch:g} but must be one number from {PITCH_LOW_MM:g} to {PITCH_HIGH_MM:g} mm"
        raise _refused(path, "bad_value", what, "give the distance between sensors in mm", "pitch_mm")
    swing_no = None if number is None else number.astype(np.int64)
    return Frames(arrays["pressure"], arrays["t_s"], swing_no, pitch)


def _refused(path: Path, reason: str, what: str, todo: str, column: str | None = None) -> Refused:
    return refuse(reason, what, todo, file=path.name, column=column)


def _check_size(path: Path, frames: int, rows: int, cols: int) -> None:
    if frames < 1:
        raise _refused(path, "empty_file", "there is no frame", _EXPORT, "pressure")
    if not (LEAST_SIDE <= rows <= MOST_SIDE and LEAST_SIDE <= cols <= MOST_SIDE):
        what = f"the grid is {rows} × {cols} sensors but must be {LEAST_SIDE} to {MOST_SIDE} a side"
        raise _refused(path, "bad_shape", what, _EXPORT, "pressure")
    if frames > MOST_FRAMES or frames * rows * cols > MOST_CELLS:
        what = f"{frames} frames of {rows} × {cols} sensors are more than one session can hold"
        raise _refused(path, "too_large", what, "deliver the visit as several sessions", "pressure")


def _open_member(path: Path, archive: zipfile.ZipFile, name: str) -> NDArray[Any]:
    """One array of the archive, after its declared shape has been found sane."""
    members = [info for info in archive.infolist() if info.filename == f"{name}.npy"]
    if len(members) != 1:
        what = f"the array {name} {'is missing' if not members else 'appears twice'}"
        raise _refused(path, "missing_column" if not members else "column_twice", what, _EXPORT, name)
    with archive.open(members[0]) as stream:
        version = npy.read_magic(stream)
        header = {(1, 0): npy.read_array_header_1_0, (2, 0): npy.read_array_header_2_0}.get(version)
        shape, fortran, dtype = header(stream) if header is not None else ((-1,), False, np.dtype(float))
        if any(side < 0 for side in shape):
            raise ValueError(f"array format {version} of shape {shape}")
        if dtype.kind not in "fiu":
            what = f"{name} holds {dtype} but must hold plain numbers"
            raise _refused(path, "bad_value", what, _EXPORT, name)
        if name == "pressure":
            if len(shape) != 3:
                what = f"pressure has shape {shape} but must be frames × rows × cols"
                raise _refused(path, "bad_shape", what, _EXPORT, name)
            _check_size(path, *shape)
        size, left = math.prod(shape) * dtype.itemsize, members[0].file_size - stream.tell()
        squeezed = size > LARGE_BYTES and size > MOST_SQUEEZED * members[0].compress_size
        if size != left or squeezed or math.prod(shape) > (MOST_CELLS if name == "pressure" else MOST_FRAMES):
            raise _refused(path, "unreadable", f"{name} is not as large as it says", _EXPORT, name)
        ours = np.dtype(np.float32 if name == "pressure" else np.float64)
        flat = _numbers(stream, math.prod(shape), dtype, ours)
    return flat.reshape(shape, order="F" if fortran else "C")


def _numbers(stream: IO[bytes], count: int, dtype: np.dtype[Any], ours: np.dtype[Any]) -> NDArray[Any]:
    """`count` numbers of the stream as our type, chunk by chunk: twice the memory is never held."""
    flat = np.empty(count, dtype=ours)
    step = max(1, _CHUNK_BYTES // dtype.itemsize)
    for start in range(0, count, step):
        wanted = min(step, count - start)
        chunk = stream.read(wanted * dtype.itemsize)
        with np.errstate(over="ignore"):  # a number too large for us turns infinite and is refused as absurd
            flat[start : start + wanted] = np.frombuffer(chunk, dtype=dtype, count=wanted)
    return flat


def _parquet_layout(path: Path, file: Any) -> tuple[int, int, float]:
    """Rows, cols and pitch of the grid, after the columns have been found to be there."""
    names = file.schema_arrow.names
    for name in ("pressure", "t_s"):
        if name not in names:
            raise _refused(path, "missing_column", f"the column {name} is missing", _EXPORT, name)
    kind = file.schema_arrow.field("pressure").type
    if not (pa.types.is_list(kind) or pa.types.is_large_list(kind) or pa.types.is_fixed_size_list(kind)):
        raise _refused(path, "bad_shape", f"pressure is {kind} but must be a list a row", _EXPORT, "pressure")
    rows, cols, pitch = (_noted(path, file, key) for key in ("rows", "cols", "pitch_mm"))
    if rows != round(rows) or cols != round(cols):
        raise _refused(path, "bad_shape", "rows and cols must be whole numbers", _EXPORT, "pressure")
    return round(rows), round(cols), pitch


def _read_parquet(path: Path, file: Any) -> dict[str, NDArray[Any]]:
    rows, cols, pitch = _parquet_layout(path, file)
    frames, cells = file.metadata.num_rows, rows * cols
    _check_size(path, frames, rows, cols)
    groups = (file.metadata.row_group(k) for k in range(file.metadata.num_row_groups))
    chunks = (group.column(k) for group in groups for k in range(group.num_columns))
    stated = sum(chunk.num_values for chunk in chunks if chunk.path_in_schema.split(".")[0] == "pressure")
    if stated != frames * cells:
        what = f"pressure does not hold {cells} numbers in every row ({rows} rows × {cols} cols)"
        raise _refused(path, "bad_shape", what, _EXPORT, "pressure")
    pressure = np.empty((frames, cells), dtype=np.float32)
    plain = {name: np.empty(frames) for name in ("t_s", NUMBER) if name in file.schema_arrow.names}
    at = 0
    wanted = [*plain, "pressure"]
    for batch in file.iter_batches(max(1, 4_000_000 // cells), columns=wanted, use_threads=False):
        part = slice(at, at + batch.num_rows)
        for name, column in plain.items():
            column[part] = _plain(batch.column(name))
        values = _plain(batch.column("pressure").flatten())
        lengths = batch.column("pressure").value_lengths()
        if lengths.null_count or any(n != cells for n in lengths.unique().to_pylist()):
            what = f"a row of pressure does not hold {cells} numbers"
            raise _refused(path, "bad_shape", what, _EXPORT, "pressure")
        with np.errstate(over="ignore"):
            pressure[part] = values.reshape(-1, cells)
        at += batch.num_rows
    shaped = pressure.reshape(frames, rows, cols)
    return {"pressure": shaped, **plain, "pitch_mm": np.array(pitch)}


def _noted(path: Path, file: Any, key: str) -> float:
    """A number of the file's key-value metadata."""
    text = (file.metadata.metadata or {}).get(key.encode())
    try:
        number = math.nan if text is None else float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        what = f"{key} is missing or no number in the file's metadata"
        raise _refused(path, "missing_column", what, "write rows, cols and pitch_mm there", key)
    return number


def _plain(column: Any) -> NDArray[Any]:
    """Numbers of an Arrow column, nulls as NaN; ValueError when it holds anything else."""
    if not (pa.types.is_integer(column.type) or pa.types.is_floating(column.type)):
        raise ValueError(f"{column.type}")
    return np.asarray(column.to_numpy(zero_copy_only=False))
