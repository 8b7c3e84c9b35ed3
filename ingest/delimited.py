"""Text of delivered tables as desks and devices write it, turned into cells.

Byte-order marks, UTF-16, semicolons, tabs and decimal commas are understood. Nothing is guessed beyond that.
"""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from ingest.refusals import refuse

_BOMS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_DECIMAL_COMMA = re.compile(r"(?:^|[;\t])\s*-?\d+,\d+\s*(?:[;\t]|$)")


@dataclass(frozen=True)
class Text:
    """A decoded table file: its header's names, its text, and how it is written."""

    file: str
    names: tuple[str, ...]
    body: str | bytes
    separator: str
    decimal_comma: bool


def _blank(data: bytes) -> bool:
    """Whether there is nothing but white space; unlike `strip`, it copies nothing."""
    return not data or data.isspace()


def decode(data: bytes, file: str) -> str:
    """Text of a file.

    Raises
        Refused: empty, binary, or neither UTF-8 nor UTF-16.
    """
    if _blank(data):
        raise refuse("empty_file", "the file is empty", "export it again and deliver it whole", file=file)
    encoding = next((name for mark, name in _BOMS if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        binary = b"\0" in data
        what = "the file is not text" if binary else f"byte {error.start + 1} is not readable text"
        reason, todo = (
            "binary_file" if binary else "unreadable",
            "save it as text in UTF-8 and deliver it again",
        )
        raise refuse(reason, what, todo, file=file) from error
    if "\0" in text:
        todo = "save it as text in UTF-8 and deliver it again"
        raise refuse("binary_file", "the file is not text", todo, file=file)
    return text


def open_text(data: bytes, file: str) -> Text:
    """Find out how a CSV file is written and read its header.

    Plain UTF-8 stays bytes, so that a large file is decoded once only, by the number parser.

    Raises
        Refused: empty, binary or undecodable, or a column name that stands twice.
    """
    marked = data.startswith(tuple(mark for mark, _ in _BOMS))
    body: str | bytes = data
    if marked or b"\0" in data or _blank(data):
        body = decode(data, file)
    end = body.find("\n") if isinstance(body, str) else body.find(b"\n")
    head = body[: end if end >= 0 else len(body)]
    header = head if isinstance(head, str) else decode(head, file)
    header = header.rstrip("\r")
    separator = max(",;\t", key=header.count)
    start = end + 1 if end >= 0 else len(body)
    sample = body[start : start + 4000]
    sample_text = sample if isinstance(sample, str) else sample.decode("utf-8", errors="replace")
    decimal_comma = separator != "," and any(_DECIMAL_COMMA.search(x) for x in sample_text.splitlines()[:20])
    names = tuple(name.strip() for name in next(csv.reader([header], delimiter=separator), []))
    twice = next((name for name in names if name and names.count(name) > 1), None)
    if twice is not None:
        raise refuse(
            "column_twice",
            f"the column {twice} stands twice",
            "keep one of them and deliver the file again",
            file=file,
            line=1,
            column=twice,
        )
    return Text(file, names, body, separator, decimal_comma)


def read_strings(text: Text) -> tuple[pl.DataFrame, list[int]]:
    """Every cell as text (trimmed, empty = null) and each row's line; empty rows are left out.

    Raises
        Refused: a row with more cells than the header, or quotes that do not close.
    """
    body = text.body if isinstance(text.body, str) else decode(text.body, text.file)
    frame = _parse(body.encode(), text, dict.fromkeys(_unique(text.names), pl.String()))
    lines = pl.Series(range(2, len(frame) + 2), dtype=pl.Int64)
    if body.count("\n") > len(frame) + 1:  # cells of several lines, or lines with nothing in them
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
    data = text.body if isinstance(text.body, bytes) else text.body.encode()
    try:
        return _read(data, text, types)
    except (pl.exceptions.PolarsError, ValueError):
        return None


def _unique(names: Sequence[str]) -> list[str]:
    """Nameless columns (a trailing separator) get a name of their own."""
    return [name or f"(column {place})" for place, name in enumerate(names, start=1)]


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


def _parse(data: bytes, text: Text, types: dict[str, Any]) -> pl.DataFrame:
    try:
        return _read(data, text, types)
    except (pl.exceptions.PolarsError, ValueError) as error:
        line = _ragged_line(data.decode(errors="replace"), text, len(types))
        raise refuse(
            "unreadable",
            f"the row does not have the header's {len(types)} cells"
            if line
            else "the table can't be read; a quote may not be closed",
            "export the file again and deliver it whole",
            file=text.file,
            line=line,
        ) from error


def _ragged_line(body: str, text: Text, width: int) -> int | None:
    reader = csv.reader(io.StringIO(body), delimiter=text.separator)
    try:
        return next((reader.line_num for row in reader if len(row) > width), None)
    except csv.Error:
        return None
