"""A table somebody exported, looked at before anything is known of it: its header, how it is written."""

import csv
import re
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ingest.delimited import decode

LOOKED_AT = 40  # lines in which a header is looked for
_NUMBER = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?")
_RATE = re.compile(r"(\d+(?:[.,]\d+)?)\s*Hz", re.IGNORECASE)
_MARKS = (
    (b"\xef\xbb\xbf", "UTF-8 with a byte-order mark"), (b"\xff\xfe", "UTF-16"), (b"\xfe\xff", "UTF-16"),
)  # fmt: skip
Array = NDArray[np.float64]


@dataclass
class Sheet:
    """Names, numbers and stated units of the columns; how the file is written; what a load would not read."""

    names: tuple[str, ...]
    numbers: dict[str, Array]  # NaN where a cell is not a number
    units: dict[str, str]  # from a line of units under the header
    rate_hz: float | None  # stated above the header
    facts: dict[str, str] = field(default_factory=dict)
    doubts: list[str] = field(default_factory=list)


def open_sheet(data: bytes, file: str) -> Sheet:
    """Look at a table's text.

    The header is the first line with words in it that has as many cells as the lines that follow it.

    Raises
        Refused: empty, or no text.
    """
    lines = decode(data, file).splitlines()
    separator = max(",;\t", key=lambda mark: sum(line.count(mark) for line in lines[:LOOKED_AT]))
    rows = list(csv.reader(lines, delimiter=separator))
    top = _header(rows)
    names = tuple(cell.strip() for cell in rows[top])
    body = [row for row in rows[top + 1 :] if any(cell.strip() for cell in row)]
    comma = separator != "," and any(re.fullmatch(r"-?\d+,\d+", c.strip()) for r in body[:20] for c in r)
    sheet = Sheet(names, {}, {}, _rate(lines[:top]))
    sheet.facts |= {
        "encoding": next((name for mark, name in _MARKS if data.startswith(mark)), "UTF-8"),
        "cells parted by": {",": "commas", ";": "semicolons", "\t": "tabs"}[separator],
        "decimal sign": "comma" if comma else "point",
    }
    if top:
        todo = f"remove the {top} line{'' if top == 1 else 's'} above it, or export without them"
        sheet.doubts.append(f"the header stands on line {top + 1}; {todo}")
    if body and _is_units(body[0]):
        sheet.units = {name: cell.strip() for name, cell in zip(names, body[0], strict=False)}
        sheet.doubts.append(f"line {top + 2} holds units, not samples; remove it")
        body = body[1:]
    sheet.facts["rows"] = str(len(body))
    _doubt_names(sheet)
    for place, name in enumerate(names):
        if name and name not in sheet.numbers:
            cells = [row[place].strip() if place < len(row) else "" for row in body]
            sheet.numbers[name] = np.array([_value(cell, comma=comma) for cell in cells])
    return sheet


def _header(rows: list[list[str]]) -> int:
    looked = rows[:LOOKED_AT]
    widest = max(map(len, looked))
    for place, row in enumerate(looked):
        words = [cell for cell in row if cell.strip() and not _NUMBER.fullmatch(cell.strip())]
        if len(row) == widest and 2 * len(words) > len(row):
            return place
    return 0


def _is_units(row: list[str]) -> bool:
    """A line without a single number among its cells."""
    cells = [cell.strip() for cell in row if cell.strip()]
    return bool(cells) and not any(_NUMBER.fullmatch(cell) for cell in cells)


def _rate(lines: list[str]) -> float | None:
    found = next((match for line in lines if (match := _RATE.search(line))), None)
    return float(found.group(1).replace(",", ".")) if found else None


def _value(cell: str, *, comma: bool) -> float:
    try:
        return float(cell.replace(",", ".") if comma else cell)
    except ValueError:
        return np.nan


def _doubt_names(sheet: Sheet) -> None:
    twice = next((name for name in sheet.names if name and sheet.names.count(name) > 1), None)
    if twice is not None:
        sheet.doubts.append(f'the column "{twice}" stands twice; keep one of them, or name them apart')
