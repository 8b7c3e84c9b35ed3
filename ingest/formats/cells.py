"""Cells of a table file as text, whatever holds them: delimited text, a spreadsheet's sheets, Parquet."""

import csv
import io
import re
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import polars as pl

from ingest.delimited import decode
from ingest.refusals import refuse
from warehouse.errors import Refused

MOST_XML_BYTES = 400_000_000  # of one sheet, unpacked
MOST_REPEATS = 16_384  # of one cell in an open document: as many as a sheet has columns
JAPANESE = re.compile(r"[\u3040-\u30ff\u4e00-\u9fff\uff66-\uff9f]")
DELIMITERS = ("\t", ";", "|", ",", " ")  # of those that fit alike the first is taken
SPREADSHEETS = (".xlsx", ".ods")
_EXPORT = "export it again, as CSV or xlsx, and deliver it again"
_SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"


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
    """Every page of a file; with `guess` an encoding that the file does not show is found out.

    Raises
        Refused: empty, broken, or not what its ending says.
    """
    ending = file.lower().rpartition(".")[2]
    if ending in ("xlsx", "ods"):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                pages = list(_workbook(archive) if ending == "xlsx" else _document(archive))
        except (zipfile.BadZipFile, KeyError, ET.ParseError, ValueError, IndexError, OSError) as error:
            raise refuse("unreadable", f"this is not a readable {ending} file", _EXPORT, file=file) from error
        return Pages(pages)
    if ending == "parquet":
        try:
            frame = pl.read_parquet(io.BytesIO(data))
        except (pl.exceptions.PolarsError, OSError, ValueError) as error:
            raise refuse("unreadable", "this is not a readable Parquet file", _EXPORT, file=file) from error
        cells = frame.select(pl.all().cast(pl.String, strict=False).fill_null("")).rows()
        return Pages([Page("", [list(frame.columns), *map(list, cells)])])
    text, encoding = _decoded(data, file, encoding, guess=guess)
    lines = text.splitlines()
    declared = re.fullmatch(r"sep=(.)", lines[0].strip()) if lines else None
    delimiter = delimiter or (declared[1] if declared else commonest_delimiter(lines[:80]))
    return Pages([Page("", split(lines, delimiter))], encoding, delimiter)


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
        if candidate != "shift_jis" or JAPANESE.search(text):
            return text, candidate
    return data.decode("latin-1"), "latin-1"


def split(lines: list[str], delimiter: str) -> list[list[str]]:
    """Lines of text as rows of trimmed cells; an empty line is a row of none. Spaces count in runs."""
    if delimiter == " ":
        return [line.split() for line in lines]
    parsed = list(csv.reader(lines, delimiter=delimiter))
    if len(parsed) != len(lines):  # a quote is open: an export's cells hold no line breaks, so line by line
        parsed = [next(csv.reader([line], delimiter=delimiter), []) for line in lines]
    stripped = ([cell.strip() for cell in row] for row in parsed)
    return [row if any(row) else [] for row in stripped]


def commonest_delimiter(lines: list[str]) -> str:
    """The delimiter by which the most lines have the same number of cells, two at least."""

    def alike(delimiter: str) -> int:
        widths = Counter(len(row) for row in split(lines, delimiter) if len(row) > 1)
        return max(widths.values(), default=0)

    counts = {delimiter: alike(delimiter) for delimiter in DELIMITERS[:-1]}
    best = max(counts, key=lambda delimiter: counts[delimiter])
    return best if counts[best] > len(lines) / 4 else " " if alike(" ") > len(lines) / 4 else ","


def _part(archive: zipfile.ZipFile, name: str) -> bytes:
    if archive.getinfo(name).file_size > MOST_XML_BYTES:
        raise ValueError(name)
    data = archive.read(name)
    if b"<!DOCTYPE" in data[:4096]:
        raise ValueError(name)  # not as spreadsheets are written: an entity could grow without end
    return data


def _workbook(archive: zipfile.ZipFile) -> Iterator[Page]:
    """Sheets of an xlsx file (ECMA-376): visible values, rows and columns at their places."""
    links = ET.fromstring(_part(archive, "xl/_rels/workbook.xml.rels"))  # noqa: S314 - without a document type nothing expands
    targets = {link.get("Id"): (link.get("Target") or "").removeprefix("/xl/") for link in links}
    shared = []
    if "xl/sharedStrings.xml" in archive.namelist():
        strings = ET.fromstring(_part(archive, "xl/sharedStrings.xml"))  # noqa: S314
        shared = ["".join(t.text or "" for t in item.iter(f"{_SHEET}t")) for item in strings]
    book = ET.fromstring(_part(archive, "xl/workbook.xml"))  # noqa: S314
    for sheet in book.iter(f"{_SHEET}sheet"):
        root = ET.fromstring(_part(archive, "xl/" + targets[sheet.get(_LINK)]))  # noqa: S314
        rows: list[list[str]] = []
        for row in root.iter(f"{_SHEET}row"):
            place = int(row.get("r") or len(rows) + 1)
            if place - len(rows) > MOST_XML_BYTES // 100:
                raise ValueError(place)
            rows += [[] for _ in range(place - len(rows) - 1)]
            rows.append(_cells(row, shared))
        yield Page(sheet.get("name") or "", rows)


def _cells(row: ET.Element, shared: list[str]) -> list[str]:
    cells: list[str] = []
    for cell in row.iter(f"{_SHEET}c"):
        letters = re.match(r"[A-Z]{1,3}", cell.get("r") or "")
        if letters:
            place = 0
            for letter in letters[0]:
                place = 26 * place + ord(letter) - 64
            cells += [""] * (place - 1 - len(cells))
        value = cell.find(f"{_SHEET}v")
        if cell.get("t") == "inlineStr":
            text = "".join(t.text or "" for t in cell.iter(f"{_SHEET}t"))
        else:
            text = (value.text or "") if value is not None else ""
            text = shared[int(text)] if cell.get("t") == "s" and text else text
        cells.append(text.strip())
    return cells if any(cells) else []


def _document(archive: zipfile.ZipFile) -> Iterator[Page]:
    """Sheets of an ods file (OpenDocument 1.2)."""
    root = ET.fromstring(_part(archive, "content.xml"))  # noqa: S314 - without a document type nothing expands
    for table in root.iter(f"{_TABLE}table"):
        rows: list[list[str]] = []
        for row in table.iter(f"{_TABLE}table-row"):
            cells: list[str] = []
            for cell in row:
                number = cell.get(f"{_OFFICE}value")
                text = number or "\n".join("".join(p.itertext()) for p in cell.iter(f"{_TEXT}p"))
                repeats = int(cell.get(f"{_TABLE}number-columns-repeated") or 1)
                cells += [text.strip()] * (min(repeats, MOST_REPEATS) if text.strip() else min(repeats, 64))
            while cells and not cells[-1]:
                cells.pop()
            repeats = int(row.get(f"{_TABLE}number-rows-repeated") or 1)
            rows += [cells] * (repeats if cells and repeats < MOST_REPEATS else 1)
        while rows and not rows[-1]:
            rows.pop()
        yield Page(table.get(f"{_TABLE}name") or "", rows)
