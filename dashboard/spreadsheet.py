"""Rows of a spreadsheet that somebody pasted or dropped: text, csv, xlsx or ods. Every cell is text.

Reading stops at `MOST_ROWS` and `MOST_BYTES`; a list of people is far below both.
"""

import csv
import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from xml.etree import ElementTree as ET

from dashboard.text.catalogue import _
from warehouse.errors import CallError

ENDINGS = ("csv", "tsv", "txt", "xlsx", "ods")
MOST_BYTES = 32 << 20  # unpacked
MOST_ROWS, MOST_COLUMNS = 5_000, 60
_EPOCH = date(1899, 12, 30)  # of the day numbers in a sheet
_NS = {
    "x": "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    "t": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "o": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
    "p": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
}
_DAY_FORMATS = {*range(14, 18), 22}  # of xlsx's own number formats


def read_file(name: str, data: bytes) -> list[list[str]]:
    """The rows of a file's first sheet, without empty ones.

    Raises
        CallError: it is no spreadsheet of these kinds, is damaged, or is too large.
    """
    ending = name.lower().rsplit(".", 1)[-1]
    try:
        if ending == "xlsx":
            return _filled(_xlsx(data))
        if ending == "ods":
            return _filled(_ods(data))
        if ending in ENDINGS and len(data) <= MOST_BYTES:
            return read_text(_decoded(data))
    except (zipfile.BadZipFile, ET.ParseError, KeyError, ValueError, IndexError, EOFError, OSError) as error:
        raise CallError(
            _("{file} can't be read as a spreadsheet; save it again as csv, xlsx or ods.").format(file=name)
        ) from error
    raise CallError(
        _("{file} is no list that is read here; use a csv, xlsx or ods file of at most 32 MB.").format(
            file=name
        )
    )


def read_text(text: str) -> list[list[str]]:
    """The rows of pasted text: cells parted by tabs, semicolons or commas, whichever there are most of."""
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


def _part(data: bytes, name: str) -> ET.Element:
    """One XML part of a packed spreadsheet."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed, packed.open(name) as part:
        text = part.read(MOST_BYTES + 1)
    if len(text) > MOST_BYTES or b"<!DOCTYPE" in text[:4096]:
        raise ValueError(name)  # too large, or not as spreadsheets are written
    return ET.fromstring(text)  # noqa: S314 - without a document type nothing is expanded


def _xlsx(data: bytes) -> Iterator[list[str]]:
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        names = packed.namelist()
    sheets = sorted(
        (n for n in names if re.fullmatch(r"xl/worksheets/sheet\d+\.xml", n)),
        key=lambda n: int(re.sub(r"\D", "", n.rsplit("/", 1)[1])),
    )
    texts: list[str] = []
    if "xl/sharedStrings.xml" in names:
        shared = _part(data, "xl/sharedStrings.xml").findall("x:si", _NS)
        texts = ["".join(t.text or "" for t in item.iter(f"{{{_NS['x']}}}t")) for item in shared]
    days = _day_styles(_part(data, "xl/styles.xml")) if "xl/styles.xml" in names else set()
    for row in _part(data, sheets[0]).iter(f"{{{_NS['x']}}}row"):
        cells: list[str] = []
        for cell in row.findall("x:c", _NS):
            at = _column(cell.get("r", "")) if cell.get("r") else len(cells)
            if at >= MOST_COLUMNS:
                continue
            cells += [""] * (at + 1 - len(cells))
            cells[at] = _cell(cell, texts, days)
        yield cells


def _cell(cell: ET.Element, texts: Sequence[str], days: set[int]) -> str:
    kind, value = cell.get("t", "n"), cell.findtext("x:v", "", _NS)
    if kind == "s":
        return texts[int(value)]
    if kind == "inlineStr":
        return "".join(t.text or "" for t in cell.iter(f"{{{_NS['x']}}}t"))
    if kind == "n" and value:
        number = float(value)
        if int(cell.get("s", "0")) in days:
            return (_EPOCH + timedelta(days=int(number))).isoformat()
        return f"{number:.10g}"
    return value


def _day_styles(styles: ET.Element) -> set[int]:
    """The numbers of cell styles that show a day."""
    own = {
        int(f.get("numFmtId", "0"))
        for f in styles.iter(f"{{{_NS['x']}}}numFmt")
        if re.search(r"[dy]", re.sub(r'"[^"]*"|\[[^\]]*\]', "", f.get("formatCode", "").lower()))
    }
    cells = styles.find("x:cellXfs", _NS)
    found = [] if cells is None else [int(style.get("numFmtId", "0")) for style in cells]
    return {i for i, number in enumerate(found) if number in _DAY_FORMATS | own}


def _column(place: str) -> int:
    """0 for A1, 27 for AB3."""
    number = 0
    for letter in re.match(r"[A-Z]*", place)[0]:  # type: ignore[index]
        number = 26 * number + ord(letter) - 64
    return number - 1


def _ods(data: bytes) -> Iterator[list[str]]:
    sheet = _part(data, "content.xml").find(".//t:table", _NS)
    for row in () if sheet is None else sheet.iter(f"{{{_NS['t']}}}table-row"):
        cells: list[str] = []
        for cell in row:
            times = int(cell.get(f"{{{_NS['t']}}}number-columns-repeated", "1"))
            day = cell.get(f"{{{_NS['o']}}}date-value")
            lines = ("".join(p.itertext()) for p in cell.findall("p:p", _NS))
            cells += [day[:10] if day else " ".join(lines)] * min(times, MOST_COLUMNS)
        alike = int(row.get(f"{{{_NS['t']}}}number-rows-repeated", "1")) if any(cells) else 1
        yield from [cells] * min(alike, MOST_ROWS)
