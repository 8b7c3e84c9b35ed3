"""Rows of a spreadsheet that somebody pasted or dropped: text, csv, xlsx or ods. Every cell is text.

Reading stops at `MOST_ROWS` and `MOST_BYTES`; a list of people is far below both.
"""

import csv
import io
from collections.abc import Iterator, Sequence

from dashboard.text.catalogue import _
from warehouse import spreadsheets
from warehouse.errors import CallError

ENDINGS = ("csv", "tsv", "txt", *spreadsheets.ENDINGS)
MOST_BYTES = 32 << 20  # unpacked
MOST_ROWS, MOST_COLUMNS = 5_000, 60


def read_file(name: str, data: bytes) -> list[list[str]]:
    """The rows of a file's first sheet, without empty ones.

    Raises
        CallError: it is no spreadsheet of these kinds, is damaged, or is too large.
    """
    ending = name.lower().rsplit(".", 1)[-1]
    try:
        if ending in spreadsheets.ENDINGS:
            sheets = spreadsheets.read_sheets(data, ending, MOST_BYTES, as_shown=True)
            return _filled(sheets[0][1] if sheets else [])
        if ending in ENDINGS and len(data) <= MOST_BYTES:
            return read_text(_decoded(data))
    except (spreadsheets.UnreadableSpreadsheetError, csv.Error) as error:
        raise CallError(
            _("{file} can't be read as a spreadsheet; save it again as csv, xlsx or ods.").format(file=name)
        ) from error
    raise CallError(
        _("{file} is not a list that can be read here; use a csv, xlsx or ods file of at most 32 MB.").format(
            file=name
        )
    )


def read_text(text: str) -> list[list[str]]:
    """The rows of pasted text: cells separated by tabs, semicolons or commas, whichever there are most of."""
    lines = [line for line in text.splitlines() if line.strip()]
    counts = {mark: sum(line.count(mark) for line in lines[:20]) for mark in "\t;,"}
    mark = max(counts, key=lambda m: counts[m])
    return _filled(csv.reader(io.StringIO("\n".join(lines)), delimiter=mark if counts[mark] else "\t"))


def _decoded(data: bytes) -> str:
    for encoding in ("utf-8-sig", "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1")


def _filled(rows: Iterator[Sequence[str]] | Sequence[Sequence[str]]) -> list[list[str]]:
    found = []
    for row in rows:
        cells = [" ".join(cell.split()) for cell in row[:MOST_COLUMNS]]
        if any(cells):
            found.append(cells)
        if len(found) > MOST_ROWS:
            raise CallError(_("The list has more than {rows} rows; split it.").format(rows=MOST_ROWS))
    return found
