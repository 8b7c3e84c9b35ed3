"""Samples read by a device's recipe: its layout brings the cells, its arithmetic makes columns of them."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.formats.header_words import LOAD_UNITS, read_header
from ingest.formats.plate_columns import Recipe
from ingest.formats.plate_layout import (
    FOOT_OF,
    PAUSE_S,
    SWING,
    TextTable,
    emptied,
    numbers,
    read_layout,
    side_in,
    swing_in,
)
from ingest.plate_rows import Array, SampleFile, Source
from ingest.refusals import refuse
from ingest.session_file import foot_of
from warehouse.contracts.base import Failure, columns_of
from warehouse.contracts.deliveries import PlateSample
from warehouse.devices import BOTH_FEET, FOOT, HELPERS, TOTAL, Layout
from warehouse.units import STANDARD_GRAVITY_M_S2

SHARES_KG = 10.0  # body mass that stands for the unknown one where a file has shares only: 1 N is about 1 %
_FEET = ("lead", "trail")


def computed(
    sources: Mapping[str, Source], value_of: Callable[[str], Array], body_n: float = 0.0
) -> dict[str, Array]:
    """Our columns by their sources: (the sum of parts × factor + add), a share of a load, or the rest of one.

    A share of both feet's load without a total is a share of `body_n` (N), so that shares stay what they are.
    """
    found: dict[str, Array] = {}
    wanted = (*columns_of(PlateSample), *(name for name in HELPERS if name != FOOT))
    waiting = [name for name in wanted if name in sources]
    waiting.sort(
        key=lambda name: (name != TOTAL, (sources[name].share_of or BOTH_FEET) not in (BOTH_FEET, TOTAL))
    )
    for name in waiting:
        source = sources[name]
        values = value_of(source.parts[0])
        for part in source.parts[1:]:
            values = values + value_of(part)
        if source.factor != 1.0 or source.add:
            values = values * source.factor + source.add
        for of, is_rest in ((source.share_of, False), (source.rest_of, True)):
            if of is not None:
                base = found[TOTAL] if of in (BOTH_FEET, TOTAL) and TOTAL in found else found.get(of, body_n)
                values = base - values if is_rest else base * values
        found[name] = values
    return {name: found[name] for name in wanted if name in found and name != TOTAL}


def read_by_layout(recipe: Recipe, files: Mapping[str, bytes], swing_no: int | None = None) -> SampleFile:
    """The samples of one file, or of both feet's, under our names and in our units.

    One that runs on (`swings = "found"`) is one swing here; `ingest.recording` cuts it.

    Raises
        Refused: a file can't be read, or departs from the recipe.
    """
    layout, first = recipe.layout or Layout(), next(iter(files))
    wanted = {
        part for one in (recipe.device.columns.values() if recipe.device else ()) for part in one.columns
    }
    table = read_tables(files, layout, wanted)
    cells, lines = table.cells, table.lines
    sources = recipe.sources(cells.columns)
    _check_units(first, sources, table.units, recipe)
    loads = [part for name, one in sources.items() if name.endswith("_n") for part in one.parts]
    if loads:
        there = cells.select(pl.any_horizontal(pl.col(loads).is_not_null())).to_series().to_numpy()
        cells, lines = cells.filter(pl.Series(there)), lines[there]
    if cells.is_empty():
        raise refuse("empty_file", "the file has a header but no samples", "export it again", file=first)
    broken: list[Failure] = []

    def value_of(part: str, unit: str | None = None) -> Array:
        series = numbers(cells[part], layout, unit)
        for row in (series.is_null() & cells[part].is_not_null()).arg_true():
            broken.append(Failure("bad_value", part, "must be a number", int(row), cells[part][int(row)]))
        return series.cast(pl.Float64).to_numpy().copy()

    body_n = (recipe.body_mass_kg or SHARES_KG) * STANDARD_GRAVITY_M_S2
    clock = sources.pop("t_s", None)
    numbered = sources.pop("swing_no", None)
    sources.pop(FOOT, None)
    columns = computed(sources, value_of, body_n)
    time = value_of(clock.parts[0], clock.unit) * clock.factor + clock.add if clock else None
    number = _swing_numbers(cells, layout, numbered, time, first, swing_no)
    if time is None:
        rate = recipe.device.rate_hz if recipe.device else None
        if rate is None:
            todo = "write rate_hz under its device in academy.toml, and deliver again"
            raise refuse("rate", "the file has no clock", todo, file=first)
        time = _in_order(number, _feet_column(cells, recipe, first)) / rate
    columns = {"swing_no": number, "t_s": time, **columns}
    sources = {
        "swing_no": numbered or Source("swing_no", "swing_no"),
        "t_s": clock or Source("t_s", "t_s"),
        **sources,
    }
    shares = any(s.share_of == BOTH_FEET for s in sources.values()) and TOTAL not in sources
    if layout.feet != "columns":
        columns, lines, sources = _feet_together(columns, lines, sources, cells, recipe, first, broken)
        broken = []
    missing = [f"{foot}_along_pct" for foot in _FEET if f"{foot}_along_pct" not in columns]
    columns |= {name: np.full(len(lines), np.nan) for name in missing}
    columns = {name: columns[name] for name in columns_of(PlateSample) if name in columns}
    raised = ({"shares_only": 1} if shares else {}) | ({"no_positions": len(missing)} if missing else {})
    flags = {int(no): dict(raised) for no in np.unique(number[np.isfinite(number)])} if raised else {}
    return SampleFile(first, columns, lines, sources, broken, flags=flags).forward()


def read_tables(files: Mapping[str, bytes], layout: Layout, wanted: set[str]) -> TextTable:
    """The cells of one file, or of both feet's, each with the foot that its name says; null says nothing."""
    tables = {name: read_layout(data, name, layout, wanted) for name, data in files.items()}
    cells = [table.cells for table in tables.values()]
    if layout.feet == "files":
        feet = [side_in(name.rpartition(".")[0]) or "" for name in tables]
        cells = [one.with_columns(pl.lit(foot).alias(FOOT_OF)) for one, foot in zip(cells, feet, strict=True)]
    lines = np.concatenate([table.lines for table in tables.values()])
    return TextTable(emptied(pl.concat(cells, how="diagonal")), lines, next(iter(tables.values())).units)


def _check_units(file: str, sources: Mapping[str, Source], units: Mapping[str, str], recipe: Recipe) -> None:
    """A units row that states another unit than the recipe has is a question, not a load."""
    for ours, source in sources.items() if units else ():
        stated = LOAD_UNITS.get(read_header(source.parts[0], units.get(source.parts[0], "")).unit)
        load = ours.endswith("_n") and source.share_of is None
        if load and stated not in (None, source.unit or "N"):
            what = f"{source.theirs} is in {stated}, but its device's recipe says {source.unit or 'N'}"
            todo = "export as before, or correct the unit in academy.toml, and deliver the session again"
            raise refuse("departs", what, todo, session=recipe.session, file=file, column=source.theirs)


def _swing_numbers(
    cells: pl.DataFrame,
    layout: Layout,
    numbered: Source | None,
    time: Array | None,
    file: str,
    swing_no: int | None,
) -> Array:
    """Each row's swing, NaN where there is none."""
    if numbered is not None or SWING in cells.columns:
        text = cells[numbered.parts[0] if numbered is not None else SWING]
        found = {value: _number_in(value) for value in text.unique(maintain_order=True)}
        if layout.swings == "sheets" and (None in found.values() or len(set(found.values())) < len(found)):
            found = {value: float(place) for place, value in enumerate(found, start=1)}
        return np.array([np.nan if found[v] is None else found[v] for v in text], dtype=np.float64)
    if swing_no is not None:
        return np.full(len(cells), float(swing_no))
    if layout.swings == "files":
        return np.full(len(cells), float(swing_in(file) or 1))
    if layout.swings == "clock" and time is not None:
        steps = np.diff(time)
        return np.concatenate([[1.0], 1.0 + np.cumsum((steps < 0) | (steps > PAUSE_S))])
    return np.full(len(cells), 1.0)


def _number_in(text: str | None) -> float | None:
    try:
        return float(text or "")
    except ValueError:
        digits = swing_in(text or "")
        return None if digits is None else float(digits)


def _feet_column(cells: pl.DataFrame, recipe: Recipe, file: str) -> NDArray[np.str_]:
    """Each row's foot, lead or trail; "" where rows hold both feet."""
    one = recipe.device.columns.get(FOOT) if recipe.device else None
    name = one.columns[0] if one is not None else FOOT_OF if FOOT_OF in cells.columns else None
    if name is None:
        return np.full(len(cells), "")
    feet: dict[str | None, str] = {}
    for word in cells[name].unique():
        side = side_in(word or "")
        if side is None:
            what, todo = f'"{word}" names no foot', "write left or right, and deliver the session again"
            raise refuse("bad_value", what, todo, file=file, column=name)
        feet[word] = side if side in _FEET else foot_of(side, recipe.hand(name))
    return np.array([feet[word] for word in cells[name]])


def _in_order(number: Array, feet: NDArray[np.str_]) -> Array:
    """Place of each row within its swing and foot, from 0."""
    place, seen = np.zeros(len(number)), dict[tuple[float, str], int]()
    for row, key in enumerate(zip(number.tolist(), feet.tolist(), strict=True)):
        place[row] = seen.get(key, 0)
        seen[key] = seen.get(key, 0) + 1
    return place


def _feet_together(
    columns: dict[str, Array], lines: NDArray[np.int64], sources: dict[str, Source], cells: pl.DataFrame,
    recipe: Recipe, file: str, broken: Sequence[Failure],
) -> tuple[dict[str, Array], NDArray[np.int64], dict[str, Source]]:  # fmt: skip
    """Rows of one foot each, brought together by swing and time."""
    if broken:
        bad = broken[0]
        line, what = int(lines[bad.index or 0]), f"{bad.value} {bad.rule}"
        raise refuse(
            "bad_value", what, "correct it and deliver again", file=file, line=line, column=bad.column
        )
    feet = _feet_column(cells, recipe, file)
    frame = pl.DataFrame(columns).with_columns(pl.Series("line", lines), pl.Series(FOOT, feet))
    parts, found = [], {name: sources[name] for name in ("swing_no", "t_s")}
    for foot in _FEET:
        names = {name: name.replace("foot_", f"{foot}_") for name in columns if name.startswith("foot_")}
        found |= {names[name]: sources[name] for name in names}
        parts.append(frame.filter(pl.col(FOOT) == foot).rename(names).drop(FOOT))
    if any(part.is_empty() for part in parts):
        what = "only one foot's samples are there"
        todo = "deliver the other foot's with them"
        raise refuse("missing_column", what, todo, session=recipe.session, file=file)
    both = parts[0].join(parts[1].drop("line"), on=["swing_no", "t_s"], how="full", coalesce=True)
    both = both.sort("swing_no", "t_s")
    values = {name: both[name].to_numpy().copy() for name in both.columns if name != "line"}
    return values, both["line"].fill_null(0).to_numpy(), found
