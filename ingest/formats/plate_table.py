"""Plate files (`plate*.csv`, `plate*.parquet`): a table of samples, brought to our names, feet and units."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.cells import SPREADSHEETS, Text, distinct, open_text, parse_numbers, read_parquet, read_strings
from ingest.formats.explanation import Explanation, Knowing
from ingest.formats.format import SampleFormat, SessionContext
from ingest.formats.plate_columns import RECIPE_TODO, Recipe
from ingest.formats.plate_layout import feet_files
from ingest.formats.proposal import TITLE, propose
from ingest.formats.recipe_reading import computed, read_by_layout
from ingest.plate_rows import Array, SampleFile, Source
from ingest.recording.swings import cut_up
from ingest.refusals import refuse
from warehouse.contracts.base import Failure

Cells = tuple[pl.DataFrame, NDArray[np.int64], list[Failure]]  # numbers, their lines, cells that are none
_EXPORT = "export it again and deliver the session again"


class PlateTable(SampleFormat):
    """A CSV, spreadsheet or Parquet table of samples of both feet."""

    title = TITLE
    names = ("plate*.csv", "plate*.parquet", "plate*.tsv", "plate*.txt", "plate*.xlsx", "plate*.ods")
    endings = (".csv", ".parquet", ".tsv", ".txt", ".xlsx", ".ods")
    orphans = names

    def looks_like(self, path: Path) -> bool:
        """Any table that no other format knows."""
        return path.suffix.lower() not in (".toml", ".json", ".gz", ".zip")

    def read(self, name: str, swing_no: int | None, context: SessionContext) -> SampleFile:
        """Read one plate file; a file of one swing needs no column that numbers it."""
        header, layout = context.header, context.layout
        if layout is not None and layout.swings == "found" and not header.names(name):
            swing_no = None  # a [[swing]] says more of one of the swings in it
        found = self.uncut(name, swing_no, context)
        if layout is not None:
            runs_on = swing_no is None and layout.swings == "found"
        else:
            runs_on = swing_no is None and "swing_no" not in found.sources
        if runs_on:
            return cut_up(found, header.holds.values(), session=header.session)
        return found if swing_no is None or "swing_no" in found.sources else _numbered(found, swing_no)

    def uncut(self, name: str, swing_no: int | None, context: SessionContext) -> SampleFile:
        """All samples of a plate file, one that runs on as it is."""
        header, layout = context.header, context.layout
        recipe = Recipe.of_session(name, context, one_swing=swing_no is not None or not header.swings)
        if layout is not None:
            files = {one: context.held[one] for one in _read_together(name, context)}
            return read_by_layout(recipe, files, swing_no)
        return read_plain(name, context.held[name], recipe)

    def is_part(self, name: str, context: SessionContext) -> bool:
        """Whether a file is read with another one: the right foot's, where each foot has its own."""
        return _read_together(name, context)[0] != name

    def explain(self, path: Path, knowing: Knowing) -> Explanation:
        """Match each column with one of ours, propose a recipe, and try it as a load would use it."""
        return propose(path, knowing, read_plain)


def _read_together(name: str, context: SessionContext) -> list[str]:
    """The files that are read as one: both feet's, left first, where each foot has its own."""
    layout = context.layout
    return feet_files(name, context.held) if layout is not None and layout.feet == "files" else [name]


def read_plain(name: str, data: bytes, recipe: Recipe) -> SampleFile:
    """The samples of a file whose first line is its header, under our names and in our units."""
    if name.lower().endswith(SPREADSHEETS):
        what = "a spreadsheet is read by its device's recipe, and academy.toml has none"
        raise refuse("no_recipe", what, RECIPE_TODO, session=recipe.session, file=name)
    if name.lower().endswith(".parquet"):
        frame = read_parquet(data, name, _EXPORT)
        names, cells = tuple(frame.columns), partial(_parquet, frame)
    else:
        text = open_text(data, name)
        names, cells = text.names, partial(_csv, text)
    sources = recipe.sources(names)
    raw, lines, broken = cells(
        list(dict.fromkeys(part for source in sources.values() for part in source.parts))
    )
    if raw.is_empty():
        what = "the file has a header but no samples"
        raise refuse("empty_file", what, _EXPORT, session=recipe.session, file=name)
    columns = computed(sources, lambda part: raw[part].cast(pl.Float64).to_numpy())
    if "swing_no" in columns:
        columns["swing_no"], odd = _whole(columns["swing_no"], sources["swing_no"].theirs)
        broken = broken + odd
    found = SampleFile(name, columns, lines, sources, broken)
    return found.forward() if "swing_no" in columns else found


def _numbered(found: SampleFile, swing_no: int) -> SampleFile:
    """Samples of a file without swing numbers, as those of one swing."""
    columns = {"swing_no": np.full(len(found.lines), float(swing_no)), **found.columns}
    sources = found.sources | {"swing_no": Source("swing_no", "swing_no")}
    return replace(found, columns=columns, sources=sources)


def _parquet(frame: pl.DataFrame, wanted: Sequence[str]) -> Cells:
    raw, lines = frame.select(wanted), np.arange(2, len(frame) + 2)
    if all(kind.is_numeric() for kind in raw.dtypes):
        return raw, lines, []
    numbers, broken = _numbers(raw.cast(pl.String), decimal_comma=False)
    return numbers, lines, broken


def _csv(text: Text, wanted: Sequence[str]) -> Cells:
    """Numbers at once when every cell is one; else cell by cell, so that the bad ones can be named."""
    names = distinct(text.names)
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
