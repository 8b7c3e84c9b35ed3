"""Cells of a table file as text, whatever holds them: delimited text, a spreadsheet's sheets, Parquet."""

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass

import polars as pl

from ingest.delimited import decode
from ingest.refusals import refuse
from warehouse import spreadsheets
from warehouse.errors import Refused

_MOST_BYTES = 400_000_000  # of a spreadsheet, unpacked
_JAPANESE = re.compile(r"[\u3040-\u30ff\u4e00-\u9fff\uff66-\uff9f]")
_DELIMITERS = ("\t", ";", "|", ",")  # of those that fit alike the first is taken
SPREADSHEETS = tuple(f".{ending}" for ending in spreadsheets.ENDINGS)
_EXPORT = "export it again, as CSV or xlsx, and deliver it again"


@dataclass(frozen=True)
class Page:
    """One sheet, or all of a text file: its cells, trimmed; row k is line k + 1 of the file."""

    name: str
    rows: list[list[str]]


@dataclass(frozen=True)
class Pages:
    """A file's pages, and how the text was written: None where it is none, or says so itself."""

    pages: list[Page]
    encoding: str | None = None
    delimiter: str | None = None


def read_pages(
    data: bytes, file: str, encoding: str | None = None, delimiter: str | None = None, *, guess: bool = False
) -> Pages:
    """Every page of a file; with `guess`, an encoding that the file does not state is inferred.

    Raises
        Refused: empty, broken, or not what its ending says.
    """
    ending = file.lower().rpartition(".")[2]
    if ending in spreadsheets.ENDINGS:
        try:
            sheets = spreadsheets.read_sheets(data, ending, _MOST_BYTES)
        except spreadsheets.UnreadableSpreadsheetError as error:
            raise refuse("unreadable", f"this is not a readable {ending} file", _EXPORT, file=file) from error
        return Pages([Page(name, rows) for name, rows in sheets])
    if ending == "parquet":
        frame = read_parquet(data, file, _EXPORT)
        cells = frame.select(pl.all().cast(pl.String, strict=False).fill_null("")).rows()
        return Pages([Page("", [list(frame.columns), *map(list, cells)])])
    text, encoding = _decoded(data, file, encoding, guess=guess)
    lines = text.splitlines()
    declared = re.fullmatch(r"sep=(.)", lines[0].strip()) if lines else None
    delimiter = delimiter or (declared[1] if declared else _commonest_delimiter(lines[:80]))
    return Pages([Page("", _split(lines, delimiter))], encoding, delimiter)


def read_parquet(data: bytes, file: str, todo: str) -> pl.DataFrame:
    """A Parquet table.

    Raises
        Refused: it is none; `todo` is what to do then.
    """
    try:
        return pl.read_parquet(io.BytesIO(data))
    except (pl.exceptions.PolarsError, OSError, ValueError) as error:
        raise refuse("unreadable", "this is not a readable Parquet file", todo, file=file) from error


def _decoded(data: bytes, file: str, encoding: str | None, *, guess: bool) -> tuple[str, str | None]:
    if encoding is not None:
        try:
            return data.decode(encoding), encoding
        except (UnicodeDecodeError, LookupError) as error:
            what, todo = f"the text is not in {encoding}", "ask the device for the same export as before"
            raise refuse("departs", what, todo, file=file) from error
    try:
        return decode(data, file), None
    except Refused as refused:
        if not guess or refused.refusal.reason != "unreadable":
            raise
    for candidate in ("shift_jis", "cp1252"):
        try:
            text = data.decode(candidate)
        except UnicodeDecodeError:
            continue
        if candidate != "shift_jis" or _JAPANESE.search(text):
            return text, candidate
    return data.decode("latin-1"), "latin-1"


def _split(lines: list[str], delimiter: str) -> list[list[str]]:
    """Lines of text as rows of trimmed cells; an empty line is a row of none. Spaces count in runs."""
    if delimiter == " ":
        return [line.split() for line in lines]
    parsed = list(csv.reader(lines, delimiter=delimiter))
    if len(parsed) != len(lines):  # a quote is open: an export's cells hold no line breaks, so line by line
        parsed = [next(csv.reader([line], delimiter=delimiter), []) for line in lines]
    stripped = ([cell.strip() for cell in row] for row in parsed)
    return [row if any(row) else [] for row in stripped]


def _commonest_delimiter(lines: list[str]) -> str:
    """The delimiter by which the most lines have the same number of cells, two at least."""

    def alike(delimiter: str) -> int:
        widths = Counter(len(row) for row in _split(lines, delimiter) if len(row) > 1)
        return max(widths.values(), default=0)

    counts = {delimiter: alike(delimiter) for delimiter in _DELIMITERS}
    best = max(counts, key=lambda delimiter: counts[delimiter])
    return best if counts[best] > len(lines) / 4 else " " if alike(" ") > len(lines) / 4 else ","
