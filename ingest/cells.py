"""Cells of table files: delimited text with its header first, and pages of text, spreadsheets and Parquet.

Byte-order marks, UTF-16, semicolons, tabs and decimal commas are understood. Of a `Text` the first line is
taken for the header and nothing more is guessed; what is laid out otherwise is read as `Pages`, by its
device's recipe.
"""

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from ingest.refusals import refuse
from warehouse import spreadsheets
from warehouse.errors import Refused

_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
_SEPARATORS = (",", ";", "\t")
_DECIMAL_COMMA = re.compile(r"(?:^|[;\t])\s*-?\d+,\d+\s*(?:[;\t]|$)")


@dataclass(frozen=True)
class Text:
    """A decoded table file: its header's names, its text (the header's line included), how it is written."""

    file: str
    names: tuple[str, ...]
    body: bytes  # UTF-8
    separator: str
    decimal_comma: bool


def decode(data: bytes, file: str) -> str:
    """Text of a file.

    Raises
        Refused: empty, binary, or neither UTF-8 nor UTF-16.
    """
    if not data or data.isspace():
        raise refuse("empty_file", "the file is empty", "export it again and deliver it whole", file=file)
    encoding = next((name for mark, name in _MARKS.items() if data.startswith(mark)), "utf-8")
    todo = "save it as text in UTF-8 and deliver it again"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        binary, what = b"\0" in data, f"byte {error.start + 1} is not readable text"
        reason, what = ("binary_file", "the file is not text") if binary else ("unreadable", what)
        raise refuse(reason, what, todo, file=file) from error
    if "\0" in text:
        raise refuse("binary_file", "the file is not text", todo, file=file)
    return text


def sniff(data: bytes, file: str) -> Text:
    """Find out how a delimited file is written, its first line taken for the header.

    Plain UTF-8 stays as it is, so that a large file is decoded once only, by the number parser.

    Raises
        Refused: empty, binary or undecodable.
    """
    if data.startswith(tuple(_MARKS)) or b"\0" in data or not data or data.isspace():
        data = decode(data, file).encode()
    end = data.find(b"\n") + 1 or len(data)
    header = decode(data[:end].removesuffix(b"\n"), file).rstrip("\r")
    separator = max(_SEPARATORS, key=header.count)
    sample = data[end : end + 4000].decode("utf-8", errors="replace").splitlines()[:20]
    decimal_comma = separator != "," and any(_DECIMAL_COMMA.search(line) for line in sample)
    names = tuple(name.strip() for name in next(csv.reader([header], delimiter=separator), []))
    return Text(file, names, data, separator, decimal_comma)


def open_text(data: bytes, file: str) -> Text:
    """As `sniff`, with names that are all different.

    Raises
        Refused: empty, binary or undecodable, or a duplicate column name.
    """
    text = sniff(data, file)
    twice = next((name for name in text.names if name and text.names.count(name) > 1), None)
    if twice is not None:
        todo = "keep one of them and deliver the file again"
        raise refuse(
            "column_twice", f"the column {twice} appears twice", todo, file=file, line=1, column=twice
        )
    return text


def read_strings(text: Text) -> tuple[pl.DataFrame, list[int]]:
    """Every cell as text (trimmed, empty = null) and each row's line; empty rows are left out.

    Raises
        Refused: a row with more cells than the header, or quotes that do not close.
    """
    body = decode(text.body, text.file).encode()
    types = dict.fromkeys(distinct(text.names), pl.String())
    try:
        frame = _read(body, text, types)
    except (pl.exceptions.PolarsError, ValueError) as error:
        line, what = (
            _ragged_line(body, text, len(types)),
            "the table can't be read; a quote may not be closed",
        )
        if line is not None:
            what = f"the row does not have the header's {len(types)} cells"
        todo = "export the file again and deliver it whole"
        raise refuse("unreadable", what, todo, file=text.file, line=line) from error
    lines = pl.Series(range(2, len(frame) + 2), dtype=pl.Int64)
    if body.count(b"\n") > len(frame) + 1:  # cells of several lines, or lines with nothing in them
        span = 1 + frame.select(pl.sum_horizontal(pl.all().str.count_matches("\n").fill_null(0))).to_series()
        lines = 2 + span.cum_sum() - span
    trimmed = pl.all().str.strip_chars()
    frame = frame.select(pl.when(trimmed != "").then(trimmed))
    kept = frame.select(pl.any_horizontal(pl.all().is_not_null())).to_series()
    if kept.all():
        return frame, lines.to_list()
    return frame.filter(kept), lines.filter(kept).to_list()


def parse_numbers(text: Text, types: dict[str, Any]) -> pl.DataFrame | None:
    """Parse a table straight into numbers; None when any cell does not fit (the caller then looks closer)."""
    try:
        return _read(text.body, text, types)
    except (pl.exceptions.PolarsError, ValueError):
        return None


def distinct(names: Sequence[str]) -> list[str]:
    """Names that are all different: a nameless one goes by its place, one that comes again by a number."""
    found: list[str] = []
    for place, name in enumerate(names, start=1):
        again = names[: place - 1].count(name)
        found.append(f"(column {place})" if not name else f"{name} #{again + 1}" if again else name)
    return found


def _read(data: bytes, text: Text, types: dict[str, Any]) -> pl.DataFrame:
    return pl.read_csv(
        io.BytesIO(data),
        schema=types,
        has_header=False,  # its names are read already, and trimmed
        skip_lines=1,
        separator=text.separator,
        decimal_comma=text.decimal_comma and any(t != pl.String for t in types.values()),
        truncate_ragged_lines=False,
    )


def _ragged_line(body: bytes, text: Text, width: int) -> int | None:
    reader = csv.reader(io.StringIO(body.decode()), delimiter=text.separator)
    try:
        return next((reader.line_num for row in reader if len(row) > width), None)
    except csv.Error:
        return None


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
