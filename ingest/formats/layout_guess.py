"""How an unknown table file is laid out, as its cells show: header, units row, blocks, sheets, feet.

Everything here can be seen in the file: where words end and numbers begin, lines that repeat, names of sheets
and files. The layout found is then read by the same reader as in a load.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise, takewhile

from ingest.cells import Page, read_pages
from ingest.formats.header_words import ANY_UNIT, plain, read_header
from ingest.formats.plate_layout import LEAST_SAMPLES, MISSING, feet_files, joined_names, side_in, turned
from warehouse.devices import Layout

_NUMBER = re.compile(r"[-+]?(\d{1,3}([,.'  ]\d{3})+|\d+)?([.,]\d*)?([eE][-+]?\d+)?")
_STAMP = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d.*")
_TIME = re.compile(r"(\d{1,2}:)?\d{1,2}:\d{2}([.,]\d+)?")
_RATE = re.compile(
    r"(?:rate|frequency|frequenz|hz|abtastrate|frecuencia|fréquence|サンプリング)", re.IGNORECASE
)
_DECIMAL_COMMA = re.compile(r"[-+]?\d+,\d+([eE][-+]?\d+)?")
_THOUSANDS = re.compile(r"[-+]?\d{1,3}(,\d{3})+\.\d+")


@dataclass
class LaidOut:
    """A layout found: the names of the columns, what the lines above the header say, and what is seen."""

    layout: Layout
    names: tuple[str, ...]
    rate_hz: float | None = None
    facts: dict[str, str] = field(default_factory=dict)
    files: tuple[str, ...] = ()  # read together, one a foot


@dataclass(frozen=True)
class _Found:
    """A table on a page: its header's row (None: none), its first row of numbers, and what is around it."""

    header: int | None
    first: int
    names: tuple[str, ...]
    groups: bool
    units: bool


def is_value(cell: str) -> bool:
    """Whether a cell is a number, a time, or says that there is none."""
    return bool(cell) and bool(_NUMBER.fullmatch(cell) or _STAMP.fullmatch(cell) or _TIME.fullmatch(cell))


def _values(row: Sequence[str]) -> int:
    return sum(is_value(cell) for cell in row)


def _is_data(row: Sequence[str]) -> bool:
    filled = [cell for cell in row if cell]
    return (
        _values(row) >= 1
        and 2 * (_values(row) + sum(c.lower() in MISSING for c in filled)) >= len(filled) >= 2
    )


def _find(page: Page) -> _Found | None:
    """The first table of a page: the first of three rows of numbers alike, and the words right above it."""
    rows = page.rows
    for first in range(len(rows) - 2):
        three = rows[first : first + 3]
        if all(map(_is_data, three)) and len({len(row) for row in three}) == 1:
            break
    else:
        return None
    width = len(rows[first])
    above = list(takewhile(bool, reversed(rows[max(0, first - 3) : first])))[::-1]
    if not above or len([c for c in above[-1] if c]) < min(2, width) or _values(above[-1]) > width / 2:
        nameless = joined_names([[""] * width], groups=False)
        return _Found(None, first, nameless, groups=False, units=False)
    units = len(above) > 1 and all(plain(c).strip("[]() ") in ANY_UNIT for c in above[-1])
    header = first - 1 - units
    named = above[: len(above) - units]
    groups = len(named) > 1 and _has_groups(named[-2], named[-1])
    return _Found(header, first, joined_names(named, groups=groups), groups, units)


def _has_groups(above: Sequence[str], header: Sequence[str]) -> bool:
    """Whether the line above the header names feet that the header does not."""
    return any(read_header(c).side for c in above if c) and not any(read_header(c).side for c in header if c)


def guess_layout(
    data: bytes, name: str, siblings: Mapping[str, bytes], answers: Mapping[str, str]
) -> LaidOut | None:
    """How a file is laid out; None when no table of numbers is in it. `siblings`: other files of its folder.

    Raises
        Refused: the file can't be read.
    """
    read = read_pages(data, name, guess=True)
    decimal = None if read.delimiter is None else "."  # a sheet's numbers need none
    layout, pages = Layout(read.encoding, read.delimiter, decimal), read.pages
    if any(_is_channel_rows(page) for page in pages):
        layout = replace(layout, cells="rows")
        pages = [turned(page) for page in pages]
    tables = [(page, one) for page in pages if (one := _find(page)) is not None]
    if not tables:
        return None
    page, table = tables[0]
    alike = [one for one, other in tables if other.names == table.names]
    sides = {side_in(one.name) for one in alike} - {None}
    if len(sides) == 2:
        layout = replace(layout, feet="sheets")
    elif len(alike) > 1:
        layout = replace(layout, swings="sheets")
    elif len(tables) > 1:
        layout = replace(layout, sheet=page.name)
    layout = replace(
        layout, units_row=table.units,
        header="none" if table.header is None else "groups" if table.groups else "line",
    )  # fmt: skip
    above = page.rows[: table.first if table.header is None else table.header]
    found = LaidOut(layout, table.names, _rate(above), files=(name,))
    _decimal(found, page.rows[table.first :], answers)
    _feet(found, name, siblings, page.rows[table.first :])
    _swings(found, name, page, table)
    if read.delimiter is not None:
        words = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", " ": "spaces"}
        found.facts["cells separated by"] = words.get(read.delimiter, read.delimiter)
        found.facts["decimal sign"] = "comma" if found.layout.decimal == "," else "point"
    if table.header:
        found.facts["header"] = f"on line {table.header + 1}"
    return found


def _is_channel_rows(page: Page) -> bool:
    """Whether rows are channels: three of them at least begin with a word and go on with numbers alone."""
    rows = [row for row in page.rows if len(row) > LEAST_SAMPLES]
    return len(rows) > 2 and all(
        not is_value(row[0]) and _values(row[1:]) > 0.9 * (len(row) - 1) for row in rows
    )


def _rate(above: Sequence[Sequence[str]]) -> float | None:
    """Samples a second, where a line above the header says it."""
    for row in above:
        line = " ".join(row)
        if _RATE.search(line) and (number := re.search(r"\d+(?:[.,]\d+)?", line)):
            return float(number[0].replace(",", "."))
    return None


def _decimal(found: LaidOut, rows: Sequence[Sequence[str]], answers: Mapping[str, str]) -> None:
    """Decimal and thousands signs, from cells that can be read in one way only."""
    cells = [cell for row in rows[:400] for cell in row]
    commas = [cell for cell in cells if _DECIMAL_COMMA.fullmatch(cell)]
    if any(_THOUSANDS.fullmatch(cell) for cell in cells):
        found.layout = replace(found.layout, thousands=",")
    elif answers.get("decimal") == "point":
        found.layout = replace(found.layout, thousands="," if commas else None)
    elif commas:
        found.layout = replace(found.layout, decimal=",")


def _feet(found: LaidOut, name: str, siblings: Mapping[str, bytes], rows: Sequence[Sequence[str]]) -> None:
    """One foot a row or a file, and one value a row."""
    named = any(read_header(column).side for column in found.names)
    width, some = len(found.names), rows[:: max(1, len(rows) // 2000)]
    columns = list(zip(*[([*row] + [""] * width)[:width] for row in some if row], strict=True))
    texts = {
        column: {cell for cell in cells if cell and not is_value(cell) and cell.lower() not in MISSING}
        for column, cells in zip(found.names, columns, strict=True)
        if columns
    }
    for column, words in texts.items():
        sides = {side_in(word) for word in words}
        if not named and len(words) == len(sides) == 2 and None not in sides:
            found.layout = replace(found.layout, feet="rows")
            found.facts["feet"] = f'one a row, by "{column}"'
        elif not named and 2 < len(words) <= 40 and len(sides - {None}) == 2:
            value = next((c for c in found.names if read_header(c).says("value") and c != column), None)
            if value is not None:
                found.layout = replace(found.layout, cells="values", channel=column, value=value)
    files = feet_files(name, siblings)
    if not named and found.layout.feet == "columns" and found.layout.cells != "values" and len(files) == 2:
        found.layout, found.files = replace(found.layout, feet="files"), tuple(files)
        found.facts["feet"] = f"one a file: {' and '.join(files)}"


def _swings(found: LaidOut, name: str, page: Page, table: _Found) -> None:
    """How swings are told apart where no column numbers them."""
    if found.layout.swings != "column":
        found.facts["swings"] = "one a sheet"
        return
    if any(read_header(column).says("swing") for column in found.names) or found.layout.cells == "values":
        return
    rows = page.rows[table.first :]
    head = page.rows[table.header] if table.header is not None else None
    blocks = sum(row == head for row in rows) if head is not None else 0
    parted = sum(not a and _is_data(b) for a, b in pairwise(rows))
    if blocks or parted:
        found.layout = replace(found.layout, swings="blocks")
        found.facts["swings"] = f"{max(blocks, parted) + 1} blocks"
    elif re.search(r"\d+$", name.rpartition(".")[0]):
        found.layout = replace(found.layout, swings="files")
        found.facts["swings"] = "one a file, by the number in its name"
    else:
        found.layout = replace(found.layout, swings="clock")
