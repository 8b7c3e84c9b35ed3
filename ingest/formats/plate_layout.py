"""Reading a table by a device's layout: header found by its columns, units row, blocks, sheets, feet, swings.

The header is the line that has every column the recipe names, wherever it is; a file without such a line
departs from the recipe and is refused. All cells stay text here, as the table's numbers are read by one rule.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.cells import Page, distinct, read_pages
from ingest.formats.header_words import read_header
from ingest.refusals import refuse
from warehouse.devices import Layout

SWING, FOOT_OF = "(swing)", "(foot)"  # columns that the layout adds
_LINE = "(line)"
_LOOKED_AT = 200  # lines in which a header is looked for
MISSING = ("", "-", "--", "–", "nan", "na", "n/a", "null", "none")
LEAST_SAMPLES = 10  # of a channel that is a row
PAUSE_S = 1.0  # a clock that stands still in the file for longer starts another swing
_AGAIN = (
    "export as before, or find its new recipe with underfoot load --explain, and deliver the session again"
)


@dataclass(frozen=True)
class TextTable:
    """Cells as text under the file's own names, the file's line of each row, and the stated units."""

    cells: pl.DataFrame
    lines: NDArray[np.int64]
    units: dict[str, str]


def joined_names(rows: Sequence[list[str]], *, groups: bool) -> tuple[str, ...]:
    """Names of columns: the header's, or each group's name before the header's own; all different."""
    header = rows[-1]
    if groups and len(rows) > 1:
        group, held = [], ""
        for place, name in enumerate(header):
            above = rows[-2][place] if place < len(rows[-2]) else ""
            held = above or held
            group.append(f"{held} {name}" if name and held else held if above else name)
        header = [name.strip() for name in group]
    return tuple(distinct(header))


def _header(
    rows: Sequence[list[str]], wanted: set[str], layout: Layout
) -> tuple[int, tuple[str, ...]] | None:
    """Row of the first header that has every wanted column, and its names; None when there is none."""
    if layout.header == "none":
        first = next((k for k, row in enumerate(rows) if row), None)
        names = () if first is None else joined_names([[""] * len(rows[first])], groups=False)
        return (first - 1, names) if first is not None and wanted <= set(names) else None
    groups = layout.header == "groups"
    for place, row in enumerate(rows[:_LOOKED_AT]):
        if len(row) >= min(len(wanted), 2):
            names = joined_names(rows[max(0, place - 1) : place + 1], groups=groups)
            if wanted <= set(names):
                return place, names
    return None


def turned(page: Page) -> Page:
    """A page whose rows are channels, as one whose columns are; rows that are no channel are left out."""
    channels = [row for row in page.rows if len(row) > LEAST_SAMPLES]
    width = max(map(len, channels), default=0)
    padded = [row + [""] * (width - len(row)) for row in channels]
    return Page(page.name, [list(column) for column in zip(*padded, strict=True)])


def read_layout(data: bytes, file: str, layout: Layout, wanted: set[str]) -> TextTable:
    """The table of a file, by its layout.

    Raises
        Refused: it can't be read, or no line of it has the wanted columns.
    """
    pages = read_pages(data, file, layout.encoding, layout.delimiter).pages
    if layout.sheet is not None:
        pages = [page for page in pages if page.name == layout.sheet] or pages
    if layout.cells == "rows":
        pages = [turned(page) for page in pages]
    if layout.cells == "values":
        wanted = {layout.channel or "", layout.value or ""}
    tables = [found for page in pages if (found := _page(file, page, layout, wanted)) is not None]
    if not tables:
        has = ", ".join(name for row in _widest(pages) for name in row if name) or "nothing"
        missing = ", ".join(sorted(wanted))
        what = f"no line has the columns named in its device's recipe ({missing}); the file has {has}"
        raise refuse("departs", what[:600], _AGAIN, file=file)
    if len(tables) > 1 and "sheets" not in (layout.swings, layout.feet):
        what = "more than one sheet has the columns named in the recipe"
        raise refuse("departs", what, f"name the sheet under layout in academy.toml, or {_AGAIN}", file=file)
    table = tables[0] if len(tables) == 1 else _stacked(tables)
    return _spread(table, layout) if layout.cells == "values" else table


def _widest(pages: Sequence[Page]) -> list[list[str]]:
    """The row most like a header: the first of those with the most words; none without any row."""
    rows = [row for page in pages for row in page.rows[:_LOOKED_AT]]
    return (
        [max(rows, key=lambda row: sum(bool(re.search(r"[^\W\d_]", cell)) for cell in row))] if rows else []
    )


def _page(file: str, page: Page, layout: Layout, wanted: set[str]) -> TextTable | None:
    found = _header(page.rows, wanted, layout)
    if found is None:
        return None
    header, names = found
    _check_width(file, page, header, names)
    rows, lines, swings, block = [], [], [], 0
    units: dict[str, str] = {}
    titles: dict[int, int] = {}
    fresh, width = True, len(names)
    head = page.rows[header] if header >= 0 else None
    for place, row in enumerate(page.rows[header + 1 :], start=header + 1):
        if not row:
            if _ends(page.rows, place, layout):
                break
            fresh = True
            continue
        if head is not None and row == head:
            continue
        if layout.units_row and head is not None and page.rows[place - 1] == head:
            units = dict(zip(names, row, strict=False))
            continue
        number = _title(row)
        if layout.swings == "blocks" and number is not None and len([c for c in row if c]) == 1:
            titles[block + 1] = number
            continue
        if fresh:
            block, fresh = block + 1, False
        rows.append((row + [""] * width)[:width])
        lines.append(place + 1)
        swings.append(block)
    first_title = _title(page.rows[header - 1]) if header > 0 and len(page.rows[header - 1]) == 1 else None
    if first_title is not None:
        titles = {1: first_title, **titles}
    frame = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String()), orient="row")
    if layout.swings == "blocks":
        named = titles if set(titles) >= set(swings) else {}
        frame = frame.with_columns(pl.Series(SWING, [str(named.get(one, one)) for one in swings]))
    if layout.swings == "sheets":
        frame = frame.with_columns(pl.lit(page.name).alias(SWING))
    if layout.feet == "sheets":
        frame = frame.with_columns(pl.lit(side_in(page.name) or "").alias(FOOT_OF))
    return TextTable(frame, np.asarray(lines, dtype=np.int64), units)


def _check_width(file: str, page: Page, header: int, names: Sequence[str]) -> None:
    """Refuse a header that names more columns than any row below it fills, or rows that go on beyond it."""
    below = [row for row in page.rows[header + 1 :] if row]
    widest, named = max(map(len, below), default=0), len(names)
    while named and names[named - 1].startswith("(column "):
        named -= 1
    beyond = next((k for k, row in enumerate(page.rows) if k > header and any(row[len(names) :])), None)
    if beyond is None and (widest >= named or page.name):
        return
    line, cells = (header + 1, widest) if beyond is None else (beyond + 1, len(page.rows[beyond]))
    what = f"the header names {len(names)} columns but the row has {cells}"
    todo = (
        "a comma within a name or number is not quoted; export with semicolons or as xlsx, and deliver that"
    )
    raise refuse("unreadable", what, todo, file=file, line=line)


def _title(row: list[str]) -> int | None:
    """The one number in a line of words, as in "Swing 3"."""
    found = re.findall(r"\d+", " ".join(row)) if re.search(r"[^\W\d_]", " ".join(row)) else []
    return int(found[0]) if len(found) == 1 else None


def _ends(rows: Sequence[list[str]], blank: int, layout: Layout) -> bool:
    """Whether a table ends at an empty line: below it is a summary, whose first cell is a word."""
    below = next((row for row in rows[blank:] if row), None)
    return (
        below is not None
        and layout.swings != "blocks"
        and len([c for c in below if c]) > 1
        and bool(re.match(r"[^\W\d_]{3,}", below[0]))
    )


def side_in(name: str) -> str | None:
    """The foot that a name's words say."""
    return read_header(re.sub(r"[-_.\d]+", " ", name)).side


def swing_in(text: str) -> str | None:
    """The number that a swing's name holds: the last one, as in plate_03.csv or "Swing 3"."""
    found = re.findall(r"\d+", text.rpartition(".")[0] if re.search(r"\.\w+$", text) else text)
    return str(int(found[-1])) if found else None


def _stacked(tables: Sequence[TextTable]) -> TextTable:
    cells = pl.concat([table.cells for table in tables], how="diagonal")
    return TextTable(cells, np.concatenate([t.lines for t in tables]), tables[0].units)


def _spread(table: TextTable, layout: Layout) -> TextTable:
    """One value a row, spread to one column a channel."""
    channel, value = layout.channel or "", layout.value or ""
    others = [name for name in table.cells.columns if name not in (channel, value)]
    lined = table.cells.with_columns(pl.Series(_LINE, table.lines))
    wide = lined.pivot(
        on=channel, index=others, values=value, aggregate_function="first", maintain_order=True
    )
    first = lined.group_by(others, maintain_order=True).agg(pl.col(_LINE).first())[_LINE].to_numpy()
    return TextTable(wide, first, {})


def numbers(cells: pl.Series, layout: Layout, unit: str | None = None) -> pl.Series:
    """Text as numbers, null where it is none; a clock's text by its unit, in s."""
    text = cells.cast(pl.String)
    if unit == "h:m:s":
        return pl.Series(cells.name, [_clock(value) for value in text], dtype=pl.Float64)
    if unit == "timestamp":
        stamps = text.str.to_datetime(time_unit="us", time_zone="UTC", strict=False)
        midnight = stamps.drop_nulls().min()
        if not isinstance(midnight, datetime):
            return pl.Series(cells.name, [None] * len(text), dtype=pl.Float64)
        start = midnight.replace(hour=0, minute=0, second=0, microsecond=0)
        return ((stamps - start).dt.total_microseconds() / 1e6).rename(cells.name)
    if layout.thousands is not None:
        text = text.str.replace_all(layout.thousands, "", literal=True)
    if layout.decimal == ",":
        text = text.str.replace(",", ".", literal=True)
    return text.cast(pl.Float64, strict=False)


def _clock(value: str | None) -> float | None:
    parts = (value or "").replace(",", ".").split(":")
    try:
        return sum(float(part) * 60.0**k for k, part in enumerate(reversed(parts)))
    except ValueError:
        return None


def emptied(cells: pl.DataFrame) -> pl.DataFrame:
    """The same with null for cells that say nothing: "-", "NaN" and the like."""
    text = pl.col(pl.String)
    return cells.with_columns(
        pl.when(text.str.to_lowercase().is_in(list(MISSING))).then(None).otherwise(text).name.keep()
    )


def feet_files(name: str, names: Iterable[str]) -> list[str]:
    """The files of both feet of which `name` is one: alike but for the word for the foot, left first."""
    side = side_in(name.rpartition(".")[0])
    twins = [
        other
        for other in names
        if other.rpartition(".")[2] == name.rpartition(".")[2]
        and side_in(other.rpartition(".")[0]) not in (None, side)
        and _without_foot(other) == _without_foot(name)
    ]
    return sorted({name, *twins}, key=lambda one: str(side_in(one.rpartition(".")[0])))


def _without_foot(name: str) -> str:
    words = name.rpartition(".")[0].replace("-", "_").replace(" ", "_").split("_")
    return "_".join(word for word in words if side_in(word) is None)
