"""Sample traces: one Parquet file a session, flat long columns, laid out for fast decoding.

Layout: every swing's samples one after another, in the order of the swing list kept in the file's own
metadata (swing number, sample count, rate, first time). One row group, LZ4, BYTE_STREAM_SPLIT, no
dictionaries. Times are not stored when every clock is regular: sample k of a swing is at
t0_s + k / rate_hz. A session with an irregular clock keeps the column `t_s`.
"""

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.vocabulary import EVENTS, SAMPLE_COLUMNS

METADATA_KEY = b"underfoot"
NO_SEASON = "none"


@dataclass(frozen=True)
class SessionTrace:
    """The samples of one session.

    Shapes: S swings (holds included), N samples in all. `columns` holds only what was delivered, float32,
    NaN where a value is missing. Units stand in the names.
    """

    session: str
    swing_no: NDArray[np.int32]  # (S,)
    offsets: NDArray[np.int64]  # (S + 1,) swing i is samples offsets[i]:offsets[i + 1]
    rate_hz: NDArray[np.float64]  # (S,)
    t0_s: NDArray[np.float64]  # (S,)
    columns: Mapping[str, NDArray[np.float32]]  # each (N,)
    t_s: NDArray[np.float64] | None = None  # (N,) only when a clock is irregular

    def times(self, index: int) -> NDArray[np.float64]:
        """Times (s, plate clock) of swing number `index` in the file's order."""
        low, high = int(self.offsets[index]), int(self.offsets[index + 1])
        if self.t_s is not None:
            return self.t_s[low:high]
        return np.asarray(self.t0_s[index] + np.arange(high - low) / self.rate_hz[index])

    def swing(self, swing_no: int) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float32]]]:
        """Times and columns of one swing.

        Raises
            UnderfootError: the session has no such swing.
        """
        found = np.flatnonzero(self.swing_no == swing_no)
        if found.size == 0:
            raise UnderfootError(f"Session {self.session} has no samples of swing {swing_no}.")
        index = int(found[0])
        part = slice(int(self.offsets[index]), int(self.offsets[index + 1]))
        return self.times(index), {name: values[part] for name, values in self.columns.items()}


def trace_path(home: Home, season: str | None, session: str) -> Path:
    """Where a session's samples stand: traces/season=…/SESSION.parquet."""
    return home.traces / f"season={season or NO_SEASON}" / f"{session}.parquet"


def write_trace(path: Path, trace: SessionTrace) -> None:
    """Write a session's samples, flushed to disk, under `path` (the folder is made)."""
    names = [name for name in SAMPLE_COLUMNS if name in trace.columns]
    arrays = [pa.array(np.asarray(trace.columns[name], dtype=np.float32)) for name in names]
    if trace.t_s is not None:
        names.append("t_s")
        arrays.append(pa.array(np.asarray(trace.t_s, dtype=np.float64)))
    described = {
        "session": trace.session,
        "swing_no": trace.swing_no.tolist(),
        "n_samples": np.diff(trace.offsets).tolist(),
        "rate_hz": trace.rate_hz.tolist(),
        "t0_s": trace.t0_s.tolist(),
    }
    fields = [pa.field(name, a.type, nullable=False) for name, a in zip(names, arrays, strict=True)]
    table = pa.table(arrays, schema=pa.schema(fields, metadata={METADATA_KEY: json.dumps(described)}))
    whole = pa.BufferOutputStream()  # in memory first: one write, instead of one a page through Python
    pq.write_table(
        table,
        whole,
        compression="lz4",
        use_dictionary=False,
        column_encoding=dict.fromkeys(names, "BYTE_STREAM_SPLIT"),
        row_group_size=max(len(table), 1),
        write_statistics=False,
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.write(whole.getvalue())
        file.flush()
        os.fsync(file.fileno())


def read_trace(path: Path, columns: Sequence[str] | None = None) -> SessionTrace:
    """Read a session's samples; `columns` limits what is decoded (names not in the file are passed over).

    Raises
        UnderfootError: the file is missing or is not a trace.
    """
    try:
        # an OSFile and no buffer ahead: the whole file is read at once, column by column
        with pa.OSFile(str(path)) as bytes_, pq.ParquetFile(bytes_, pre_buffer=False) as file:
            schema = file.schema_arrow
            present = schema.names
            wanted = [name for name in present if columns is None or name in columns or name == "t_s"]
            described: dict[str, Any] = json.loads(schema.metadata[METADATA_KEY])
            every = len(wanted) == len(present)
            table = file.read(columns=None if every else wanted, use_threads=False)
    except (OSError, pa.ArrowException, KeyError, TypeError, ValueError) as error:
        raise UnderfootError(
            f"The samples in {path} can't be read ({type(error).__name__}); "
            "rebuild them from the filed deliveries."
        ) from error
    values = {name: np.asarray(column.to_numpy()) for name, column in zip(wanted, table.columns, strict=True)}
    clock = values.pop("t_s", None)
    return SessionTrace(
        session=described["session"],
        swing_no=np.asarray(described["swing_no"], dtype=np.int32),
        offsets=np.concatenate([[0], np.cumsum(described["n_samples"])]).astype(np.int64),
        rate_hz=np.asarray(described["rate_hz"], dtype=np.float64),
        t0_s=np.asarray(described["t0_s"], dtype=np.float64),
        columns=values,
        t_s=clock,
    )


def stretch(
    trace: SessionTrace,
    events: Mapping[int, Mapping[str, float]],
    values: Sequence[str],
    points_per_phase: int = 25,
) -> dict[str, NDArray[np.float64]]:
    """Samples of several swings on one time axis, stretched between events, for pictures.

    Between two neighbouring events each swing's own time is divided into `points_per_phase` equal steps, so
    that every swing's top lies above every other's. Only swings with all of takeaway, top and impact
    marked are used; other events are interpolated where every swing has them.

    Returns
        `position`: (P,) 0 at the first event, 1 at the next, and so on; `swing_no`: (K,); and for each name
        in `values` a (K, P) array, NaN where the column is missing.
    """
    shared = [e for e in EVENTS if events and all(e in marked for marked in events.values())]
    grid = np.concatenate(
        [k + np.arange(points_per_phase) / points_per_phase for k in range(max(len(shared) - 1, 0))]
        + [np.array([max(len(shared) - 1, 0)], dtype=float)]
    )
    kept: list[int] = []
    rows: dict[str, list[NDArray[np.float64]]] = {name: [] for name in values}
    for swing_no, marked in events.items():
        posts = np.array([marked[e] for e in shared])
        if swing_no not in trace.swing_no or np.any(np.diff(posts) <= 0):
            continue
        times, columns = trace.swing(swing_no)
        wanted = np.interp(grid, np.arange(len(posts)), posts)
        kept.append(swing_no)
        for name in values:
            column = columns.get(name)
            if column is None:
                rows[name].append(np.full(grid.shape, np.nan))
            else:
                rows[name].append(np.interp(wanted, times, column.astype(np.float64)))
    shape = (0, len(grid))
    return {
        "position": grid,
        "swing_no": np.asarray(kept),
        **{name: np.stack(found) if found else np.empty(shape) for name, found in rows.items()},
    }
