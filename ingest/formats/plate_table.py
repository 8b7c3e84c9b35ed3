"""Plate files (`plate*.csv`, `plate*.parquet`): a table of samples, brought to our names, feet and units."""

import io
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.delimited import Text, open_text, parse_numbers, read_strings, sniff, unique
from ingest.formats import column_guess as guess
from ingest.formats.format import Explanation, SampleFormat, SessionContext
from ingest.formats.plate_columns import Recipe
from ingest.plate_rows import Array, SampleFile, Source, snapped
from ingest.refusals import refuse
from warehouse.contracts.base import Failure, columns_of
from warehouse.contracts.deliveries import PlateSample
from warehouse.errors import Refused, UnderfootError
from warehouse.settings import read_devices

Cells = tuple[pl.DataFrame, NDArray[np.int64], list[Failure]]  # numbers, their lines, cells that are none
_EXPORT = "export it again and deliver the session again"
_USUAL_MASS_KG, _USUAL_FOOT_MM = 75.0, 260.0  # to try a proposed table with, whoever the golfer is


@dataclass(frozen=True)
class _Table:
    """An opened plate file, its cells not yet read: delimited text or a Parquet table."""

    file: str
    names: tuple[str, ...]
    text: Text | None
    frame: pl.DataFrame | None

    def cells(self, wanted: Sequence[str]) -> Cells:
        """The wanted columns as numbers, null where empty or not a number."""
        if self.text is not None:
            return _csv(self.text, wanted)
        raw = pl.DataFrame() if self.frame is None else self.frame.select(wanted)
        lines = np.arange(2, len(raw) + 2)
        if all(kind.is_numeric() for kind in raw.dtypes):
            return raw, lines, []
        numbers, broken = _numbers(raw.cast(pl.String), decimal_comma=False)
        return numbers, lines, broken


class PlateTable(SampleFormat):
    """A CSV or Parquet table of samples of both feet."""

    title = "Samples of both feet, one row a sample"
    names = ("plate*.csv", "plate*.parquet")
    endings = (".csv", ".parquet")
    orphans = names

    def looks_like(self, path: Path) -> bool:
        """Any table that no other format knows."""
        return path.suffix.lower() not in (".toml", ".json")

    def read(self, name: str, swing_no: int | None, context: SessionContext) -> SampleFile:
        """Read one plate file; a file of one swing needs no column that numbers it."""
        table = _open(name, context.held[name], context.header.session)
        sources = _sources(table, Recipe.of_session(name, context, one_swing=swing_no is not None))
        found = _read(table, sources, context.header.session)
        return found if swing_no is None or "swing_no" in sources else _numbered(found, swing_no)

    def explain(self, path: Path, device: str) -> Explanation:
        """Match each column with one of ours, propose a device table, and try it as a load would use it."""
        found = Explanation(path.name, self.title)
        table = _open(path.name, path.read_bytes(), None, explaining=True)
        text, rate_hz = table.text, None if table.text is None else table.text.rate_hz
        if text is not None:
            found.facts |= text.facts
            _doubt_text(found, text)
        names = [name for name in dict.fromkeys(table.names) if name]
        raw, lines, _ = table.cells(names)
        found.facts["rows"] = str(len(lines))
        numbers = {name: _floats(raw[name].cast(pl.Float64, strict=False)) for name in names}
        found.columns = guess.guess_columns(numbers, (text.units if text is not None else None) or {})
        found.doubts += guess.doubts(found.columns)
        if all(column.ours != "swing_no" for column in found.columns):
            todo = f'it is read as one swing when that swing\'s [[swing]] says file = "{path.name}"'
            found.facts["swing number"] = f"no column: {todo}"
        _clock(found, numbers, rate_hz)
        found.table = guess.device_table(found.columns, device, rate_hz)
        if found.table is None:
            found.facts["device table"] = "none is needed: every column has our own name"
        if not found.doubts:
            _try(found, table, device)
        return found


def _open(file: str, data: bytes, session: str | None, *, explaining: bool = False) -> _Table:
    """Open a plate file; `explaining`, the header is looked for, and duplicate names are for the caller."""
    if file.lower().endswith(".parquet"):
        try:
            frame = pl.read_parquet(io.BytesIO(data))
        except (pl.exceptions.PolarsError, OSError, ValueError) as error:
            what = "this is not a readable Parquet file"
            raise refuse("unreadable", what, _EXPORT, session=session, file=file) from error
        return _Table(file, tuple(frame.columns), None, frame)
    text = sniff(data, file).from_header() if explaining else open_text(data, file)
    return _Table(file, text.names, text, None)


def _sources(table: _Table, recipe: Recipe) -> dict[str, Source]:
    """Where our columns come from; where one is missing since the header is further down, that is said."""
    try:
        return recipe.sources(table.names)
    except Refused as refused:
        line = table.text.header_line() if table.text is not None else 1
        if refused.refusal.reason != "missing_column" or line == 1:
            raise
        (what, todo), place = _low_header(line), {"session": recipe.session, "file": table.file}
        raise refuse("missing_column", what, todo, line=line, **place) from refused


def _low_header(line: int) -> tuple[str, str]:
    """What is wrong with a header that is not on the first line, and what to do."""
    above = "the line" if line == 2 else f"the {line - 1} lines"
    return f"the header is on line {line}", f"remove {above} above it, or export without them"


def _read(table: _Table, sources: dict[str, Source], session: str | None) -> SampleFile:
    """The samples under our names and in our units."""
    raw, lines, broken = table.cells([s.theirs for s in sources.values()])
    if raw.is_empty():
        what = "the file has a header but no samples"
        raise refuse("empty_file", what, _EXPORT, session=session, file=table.file)
    columns: dict[str, Array] = {}
    for name in (n for n in columns_of(PlateSample) if n in sources):
        values = _floats(raw[sources[name].theirs])
        columns[name] = values if sources[name].factor == 1.0 else values * sources[name].factor
    if "swing_no" in columns:
        columns["swing_no"], odd = _whole(columns["swing_no"], sources["swing_no"].theirs)
        broken = broken + odd
    return SampleFile(table.file, columns, lines, sources, broken)


def _numbered(found: SampleFile, swing_no: int) -> SampleFile:
    """Samples of a file without swing numbers, as those of one swing."""
    columns = {"swing_no": np.full(len(found.lines), float(swing_no)), **found.columns}
    sources = found.sources | {"swing_no": Source("swing_no", "swing_no")}
    return replace(found, columns=columns, sources=sources)


def _csv(text: Text, wanted: Sequence[str]) -> Cells:
    """Numbers at once when every cell is one; else cell by cell, so that the bad ones can be named."""
    names = unique(text.names)
    types = {name: pl.Float64() if name in wanted else pl.String() for name in names}
    parsed = parse_numbers(text, types)
    if parsed is not None:
        lines = np.arange(2, len(parsed) + 2)
        raw = pl.DataFrame([parsed[name] for name in wanted])
        if raw[wanted[0]].null_count():
            blank = raw.select(pl.all_horizontal(pl.all().is_null())).to_series().to_numpy()
            raw, lines = raw.filter(pl.Series(~blank)), lines[~blank]
        return raw, lines, []
    strings, string_lines = read_strings(text)
    raw, broken = _numbers(strings.select(wanted), decimal_comma=text.decimal_comma)
    return raw, np.asarray(string_lines, dtype=np.int64), broken


def _numbers(strings: pl.DataFrame, *, decimal_comma: bool) -> tuple[pl.DataFrame, list[Failure]]:
    columns, broken = [], []
    for name in strings.columns:
        cells = strings[name].str.replace(",", ".", literal=True) if decimal_comma else strings[name]
        cast = cells.cast(pl.Float64, strict=False)
        lost = (cast.is_null() & cells.is_not_null()).arg_true()
        broken += [Failure("bad_value", name, "must be a number", i, strings[name][i]) for i in lost]
        columns.append(cast)
    return pl.DataFrame(columns), broken


def _whole(number: Array, theirs: str) -> tuple[Array, list[Failure]]:
    """Swing numbers, those that are not whole left out and named."""
    odd = np.flatnonzero((number != np.rint(number)) & ~np.isnan(number) | np.isinf(number))
    if not odd.size:
        return number, []
    rule = "must be a whole number"
    broken = [Failure("bad_value", theirs, rule, int(i), f"{number[i]:g}") for i in odd]
    number = number.copy()
    number[odd] = np.nan
    return number, broken


def _floats(series: pl.Series) -> Array:
    """A column as contiguous numbers, NaN where empty; no copy where Polars holds it so already."""
    return series.cast(pl.Float64).to_numpy() if series.dtype != pl.Float64 else series.to_numpy()


def _doubt_text(found: Explanation, text: Text) -> None:
    """What a load would not accept of the way the file is written."""
    if text.above:
        found.doubts.append("; ".join(_low_header(text.above + 1)))
    if text.units:
        found.doubts.append(f"line {text.above + 2} holds units, not samples; remove it")
    if text.duplicate is not None:
        found.doubts.append(f'the column "{text.duplicate}" appears twice; keep one of them, or rename one')


def _clock(found: Explanation, numbers: Mapping[str, Array], rate_hz: float | None) -> None:
    """The rate of sampling, by the clock's unit."""
    clock = next((c for c in found.columns if c.ours == "t_s"), None)
    if clock is None or clock.unit == guess.UNDECIDED:
        return
    steps = np.diff(numbers[clock.theirs])
    steps = steps[np.isfinite(steps) & (steps > 0)]
    if clock.unit == "frames":
        found.facts["rate"] = f"{rate_hz:g} Hz, stated in the file" if rate_hz else "not stated"
        if not rate_hz:
            found.doubts.append("the clock counts frames; write their rate for the ? in the table")
    elif steps.size:
        factor = {"ms": 1e-3, "us": 1e-6}.get(clock.unit or "s", 1.0)
        found.facts["rate"] = f"{snapped(1.0 / (float(np.median(steps)) * factor)):.5g} Hz"


def _try(found: Explanation, table: _Table, device: str) -> None:
    """Read the file by the proposed table, as a load does: what that refuses is an open question."""
    try:
        tables = tomllib.loads(found.table or "").get("device", {})
        settings = read_devices(tables, "the proposed table").get(device)
        one_swing = all(column.ours != "swing_no" for column in found.columns)
        recipe = Recipe(table.file, settings, "right", _USUAL_FOOT_MM, _USUAL_MASS_KG, one_swing=one_swing)
        read = _read(table, recipe.sources(table.names), None)
    except UnderfootError as error:
        found.doubts.append(str(error).removesuffix("."))
        return
    if read.broken:
        found.facts["cells that are not numbers"] = str(len(read.broken))
