"""Plate files (`plate*.csv`, `plate.parquet`): samples of both feet in our names, hands and units."""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.academy import Academy
from ingest.delimited import Text, open_text, parse_numbers, read_strings
from ingest.formats.plate_columns import Source, find_sources
from ingest.refusals import refuse
from ingest.sample_checks import Span
from ingest.session_file import SessionHeader
from warehouse.contracts.base import Failure, columns_of, failures
from warehouse.contracts.deliveries import PlateSample

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PlateFile:
    """One file's samples in the file's own order, and where each stood."""

    file: str
    columns: Mapping[str, Array]  # ours, each (rows,), NaN where empty
    lines: NDArray[np.int64]  # (rows,)
    sources: dict[str, Source]
    broken: list[Failure]  # cells that are not numbers


def read_plate_file(
    file: str, data: bytes, header: SessionHeader, academy: Academy, *, swing_no: int | None = None
) -> PlateFile:
    """Read one plate file; `swing_no` is the swing it is when it has no column that says so.

    Raises
        Refused: the file can't be read or its columns do not fit.
    """
    device = academy.settings.devices.get(header.device) if header.device is not None else None
    person = academy.people[header.student]
    if file.lower().endswith(".parquet"):
        raw, lines, names = _parquet(file, data, header)
        sources = find_sources(names, file, header, device, person, one_swing=swing_no is not None)
        broken: list[Failure] = []
        raw = raw.select(s.theirs for s in sources.values())
        if any(not kind.is_numeric() for kind in raw.dtypes):
            raw, broken = _numbers(
                raw.cast(pl.String), Text(file, tuple(names), b"", ",", decimal_comma=False)
            )
    else:
        text = open_text(data, file)
        sources = find_sources(text.names, file, header, device, person, one_swing=swing_no is not None)
        raw, lines, broken = _csv(text, sources)
    if raw.is_empty():
        todo = "export it again and deliver the session again"
        raise refuse(
            "empty_file", "the file has a header but no samples", todo, session=header.session, file=file
        )
    if swing_no is not None and "swing_no" not in sources:
        sources["swing_no"] = Source("swing_no", "swing_no", 1.0, None)
        raw = raw.with_columns(pl.lit(swing_no, pl.Int64).alias("swing_no"))
    return _ours(file, raw, lines, sources, broken)


def _csv(text: Text, sources: Mapping[str, Source]) -> tuple[pl.DataFrame, NDArray[np.int64], list[Failure]]:
    """Numbers at once when every cell is one; else cell by cell, so that the bad ones can be named."""
    wanted = [s.theirs for s in sources.values()]
    types = {
        name or f"(column {k})": pl.Float64() if name in wanted else pl.String()
        for k, name in enumerate(text.names, 1)
    }
    parsed = parse_numbers(text, types)
    if parsed is not None:
        lines = np.arange(2, len(parsed) + 2)
        raw = pl.DataFrame([parsed[name] for name in wanted])
        if raw[wanted[0]].null_count():
            blank = raw.select(pl.all_horizontal(pl.all().is_null())).to_series().to_numpy()
            raw, lines = raw.filter(pl.Series(~blank)), lines[~blank]
        return raw, lines, []
    strings, string_lines = read_strings(text)
    raw, broken = _numbers(strings.select(wanted), text)
    return raw, np.asarray(string_lines, dtype=np.int64), broken


def _numbers(strings: pl.DataFrame, text: Text) -> tuple[pl.DataFrame, list[Failure]]:
    columns, broken = [], []
    for name in strings.columns:
        cells = strings[name].str.replace(",", ".", literal=True) if text.decimal_comma else strings[name]
        cast = cells.cast(pl.Float64, strict=False)
        lost = (cast.is_null() & cells.is_not_null()).arg_true()
        broken += [
            Failure("bad_value", name, "must be a number", int(i), strings[name][int(i)]) for i in lost
        ]
        columns.append(cast)
    return pl.DataFrame(columns), broken


def _parquet(
    file: str, data: bytes, header: SessionHeader
) -> tuple[pl.DataFrame, NDArray[np.int64], list[str]]:
    try:
        frame = pl.read_parquet(io.BytesIO(data))
    except (pl.exceptions.PolarsError, OSError, ValueError) as error:
        todo = "export it again and deliver the session again"
        raise refuse(
            "unreadable", "this is not a readable Parquet file", todo, session=header.session, file=file
        ) from error
    return frame, np.arange(2, len(frame) + 2), frame.columns


def _ours(
    file: str, raw: pl.DataFrame, lines: NDArray[np.int64], sources: dict[str, Source], broken: list[Failure]
) -> PlateFile:
    columns: dict[str, Array] = {}
    for name in (n for n in columns_of(PlateSample) if n in sources):
        values = _floats(raw[sources[name].theirs])
        columns[name] = values if sources[name].factor == 1.0 else values * sources[name].factor
    number = columns["swing_no"]
    odd = np.flatnonzero((number != np.rint(number)) & ~np.isnan(number) | np.isinf(number))
    if odd.size:
        theirs = sources["swing_no"].theirs
        broken = broken + [
            Failure("bad_value", theirs, "must be a whole number", int(i), f"{number[i]:g}") for i in odd
        ]
        columns["swing_no"] = number.copy()
        columns["swing_no"][odd] = np.nan
    return PlateFile(file, columns, lines, sources, broken)


def _floats(series: pl.Series) -> Array:
    """A column as contiguous numbers, NaN where empty; no copy where Polars holds it so already."""
    return series.cast(pl.Float64).to_numpy() if series.dtype != pl.Float64 else series.to_numpy()


@dataclass(frozen=True)
class Joined:
    """Every plate file of a session under one another, in file order."""

    columns: Mapping[str, Array]  # as in PlateFile, in the contract's order
    files: Sequence[PlateFile]
    starts: NDArray[np.int64]  # first row of each file

    @cached_property
    def swing_no(self) -> NDArray[np.int64]:
        """Swing number of every row; -1 where there is none."""
        number = self.columns["swing_no"]
        if number.min() >= 0 and number.max() <= np.iinfo(np.int32).max:  # no comparison holds for NaN
            return number.astype(np.int64)
        return self.frame()["swing_no"].fill_null(-1).to_numpy()

    def frame(self) -> pl.DataFrame:
        """The rows in the contract's own types, for whoever has to name what is wrong with them."""
        frame = pl.DataFrame(dict(self.columns)).with_columns(pl.all().fill_nan(None))
        return frame.with_columns(pl.col("swing_no").cast(pl.Int64, strict=False))

    def place(self, row: int) -> tuple[PlateFile, int]:
        """File and line a row of the joined files stood on."""
        k = int(np.searchsorted(self.starts, row, side="right")) - 1
        file = self.files[k]
        return file, int(file.lines[row - int(self.starts[k])])

    def broken(self) -> list[Failure]:
        """Cells that are not numbers, by row of the joined files, under the file's own column names."""
        return [
            Failure(f.reason, f.column, f.rule, int(start) + (f.index or 0), f.value)
            for start, file in zip(self.starts, self.files, strict=True)
            for f in file.broken
        ]

    def ours(self, failure: Failure) -> str:
        """Our name of a failure's column."""
        file, _ = self.place(failure.index or 0)
        return next((n for n, s in file.sources.items() if s.theirs == failure.column), failure.column)

    def broken_by_swing(self, spans: Mapping[str, Span]) -> dict[int, list[Failure]]:
        """Every broken rule by swing number, in row order; `spans` of all columns tell when there is none."""
        cells = self.broken()
        if not cells and not failures(PlateSample, _extremes(spans)):
            return {}
        named = {(f.index, self.ours(f)) for f in cells}
        found = [f for f in failures(PlateSample, self.frame()) if (f.index, f.column) not in named]
        by_swing: dict[int, list[Failure]] = {}
        for failure in sorted([*cells, *found], key=lambda f: f.index or 0):
            by_swing.setdefault(int(self.swing_no[failure.index or 0]), []).append(failure)
        return by_swing


def _extremes(spans: Mapping[str, Span]) -> pl.DataFrame:
    """Each column's extremes, and a gap where it has one: when any row breaks a limit, one of these does."""
    rows = {name: [s.low, s.high, None if s.gaps else s.low] for name, s in spans.items()}
    return pl.DataFrame(rows).with_columns(pl.col("^swing_no$").cast(pl.Int64, strict=False))


def join(files: Sequence[PlateFile]) -> Joined:
    """Put a session's plate files under one another; a column that one of them lacks is empty there."""
    starts = np.cumsum([0, *(len(f.lines) for f in files)])[:-1]
    if len(files) == 1:
        return Joined(files[0].columns, files, starts)
    order = [name for name in columns_of(PlateSample) if any(name in f.columns for f in files)]
    columns = {
        name: np.concatenate([f.columns.get(name, np.full(len(f.lines), np.nan)) for f in files])
        for name in order
    }
    return Joined(columns, files, starts)
