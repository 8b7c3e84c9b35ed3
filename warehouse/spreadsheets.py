"""The sheets of an xlsx or ods file as text, each cell at its place, never larger in memory than allowed.

Source: ECMA-376 (xlsx), OpenDocument 1.2 (ods).
"""

import io
import re
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from datetime import date, timedelta
from xml.etree import ElementTree as ET

ENDINGS = ("xlsx", "ods")
_PLACE_BYTES = 8  # what an empty cell or an empty row takes
_DAY_FORMATS = {*range(14, 18), 22}  # of xlsx's own number formats
_SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_DAMAGE = (
    zipfile.BadZipFile, zlib.error, ET.ParseError, LookupError, ValueError, EOFError, OSError,
    RuntimeError,  # encrypted, or packed in a way that Python cannot unpack
)  # fmt: skip
_Cell = tuple[int, int, str]  # place, how often it repeats, text
_Row = tuple[int, int, Iterator[_Cell]]  # place, how often it repeats, cells


class UnreadableSpreadsheetError(ValueError):
    """A file is no spreadsheet, is damaged, or is larger than allowed."""


def read_sheets(
    data: bytes, ending: str, most_bytes: int, *, as_shown: bool = False
) -> list[tuple[str, list[list[str]]]]:
    """Name and rows of every sheet, in the workbook's order: row k is the sheet's row k + 1, trimmed.

    A cell is its stored value to the last digit (a day of xlsx is then a number of days), or with `as_shown`
    what a person reads: numbers without the noise of binary fractions, days as ISO dates.

    Raises
        UnreadableSpreadsheetError: no `ending` file, damaged, or of more than `most_bytes` unpacked.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(part.file_size for part in archive.infolist()) > most_bytes:
                raise ValueError("too large")
            sheets = _workbook(archive, as_shown) if ending == "xlsx" else _document(archive, as_shown)
            return _placed(sheets, most_bytes)
    except _DAMAGE as error:
        raise UnreadableSpreadsheetError(str(error)) from error


def _part(archive: zipfile.ZipFile, name: str) -> ET.Element:
    data = archive.read(name)
    # No spreadsheet has a document type, whose entities could grow without end, or is in UTF-16, to hide one.
    if b"<!DOCTYPE" in data or b"\0" in data:
        raise ValueError(name)
    return ET.fromstring(data, ET.XMLParser(encoding="utf-8"))  # noqa: S314 - without a document type nothing expands


def _placed(
    sheets: Iterable[tuple[str, Iterable[_Row]]], most_bytes: int
) -> list[tuple[str, list[list[str]]]]:
    """Rows and cells at their places; what is empty at the end of a row or a sheet takes no room."""
    left = most_bytes
    found = []
    for name, rows in sheets:
        table: list[list[str]] = []
        for row, alike, cells in rows:
            line: list[str] = []
            for at, times, cell in cells:
                if text := cell.strip():
                    gap = max(0, at - len(line))
                    left -= gap * _PLACE_BYTES + times * alike * (_PLACE_BYTES + len(text))
                    if left < 0:
                        raise ValueError("too large")
                    line += [""] * gap
                    line[at : at + times] = [text] * times
            if line:
                left -= max(0, row + alike - len(table)) * _PLACE_BYTES
                if left < 0:
                    raise ValueError("too large")
                table += [[]] * (row - len(table))
                table[row : row + alike] = [line] * alike
        found.append((name, table))
    return found


def _workbook(archive: zipfile.ZipFile, as_shown: bool) -> Iterator[tuple[str, Iterator[_Row]]]:  # noqa: FBT001
    links = _part(archive, "xl/_rels/workbook.xml.rels")
    targets = {link.get("Id"): (link.get("Target") or "").removeprefix("/xl/") for link in links}
    book = _part(archive, "xl/workbook.xml")
    sheets = [(s.get("name") or "", targets[s.get(_LINK)]) for s in book.iter(f"{_SHEET}sheet")]
    if len({target for _, target in sheets}) < len(sheets):
        raise ValueError("one part as several sheets")
    shared, days = [], set()
    if "xl/sharedStrings.xml" in archive.namelist():
        shared = [_rich_text(item) for item in _part(archive, "xl/sharedStrings.xml")]
    if as_shown and "xl/styles.xml" in archive.namelist():
        days = _day_styles(_part(archive, "xl/styles.xml"))
    about = book.find(f"{_SHEET}workbookPr")
    from_1904 = about is not None and about.get("date1904") in ("1", "true")
    epoch = date(1904, 1, 1) if from_1904 else date(1899, 12, 30)

    def text_of(cell: ET.Element) -> str:
        kind, value = cell.get("t", "n"), cell.findtext(f"{_SHEET}v") or ""
        if kind == "s" and value:
            return shared[int(value)]
        if kind == "inlineStr":
            inline = cell.find(f"{_SHEET}is")
            return "" if inline is None else _rich_text(inline)
        if kind == "n" and value and as_shown:
            if int(cell.get("s", "0")) in days:
                with suppress(OverflowError):  # no day: then it is a number
                    return (epoch + timedelta(days=int(float(value)))).isoformat()
            return f"{float(value):.15g}"
        return value

    for name, target in sheets:
        yield name, _workbook_rows(_part(archive, f"xl/{target}"), text_of)


def _workbook_rows(sheet: ET.Element, text_of: Callable[[ET.Element], str]) -> Iterator[_Row]:
    def cells(row: ET.Element) -> Iterator[_Cell]:
        at = -1
        for cell in row.iter(f"{_SHEET}c"):
            letters = re.match(r"[A-Z]{1,3}", cell.get("r") or "")
            at = _column(letters[0]) if letters else at + 1
            yield at, 1, text_of(cell)

    at = 0
    for row in sheet.iter(f"{_SHEET}row"):
        at = int(row.get("r") or at + 1)
        if at < 1:
            raise ValueError(at)
        yield at - 1, 1, cells(row)


def _column(letters: str) -> int:
    """0 for A, 27 for AB."""
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number - 1


def _rich_text(item: ET.Element) -> str:
    """Text with its differently formatted runs, but without how Japanese is pronounced."""
    texts = (*item.iterfind(f"{_SHEET}t"), *item.iterfind(f"{_SHEET}r/{_SHEET}t"))
    return "".join(text.text or "" for text in texts)


def _day_styles(styles: ET.Element) -> set[int]:
    """The numbers of cell styles that show a day."""
    own = {
        int(f.get("numFmtId", "0"))
        for f in styles.iter(f"{_SHEET}numFmt")
        if re.search(r"[dy]", re.sub(r'"[^"]*"|\[[^\]]*\]', "", f.get("formatCode", "").lower()))
    }
    cells = styles.find(f"{_SHEET}cellXfs")
    found = [] if cells is None else [int(style.get("numFmtId", "0")) for style in cells]
    return {i for i, number in enumerate(found) if number in _DAY_FORMATS | own}


def _document(archive: zipfile.ZipFile, as_shown: bool) -> Iterator[tuple[str, Iterator[_Row]]]:  # noqa: FBT001
    for table in _part(archive, "content.xml").iter(f"{_TABLE}table"):
        yield table.get(f"{_TABLE}name") or "", _document_rows(table, as_shown)


def _document_rows(table: ET.Element, as_shown: bool) -> Iterator[_Row]:  # noqa: FBT001
    def cells(row: ET.Element) -> Iterator[_Cell]:
        at = 0
        for cell in row:
            times = max(0, int(cell.get(f"{_TABLE}number-columns-repeated") or 1))
            day = (cell.get(f"{_OFFICE}date-value") or "")[:10]
            stored = day if as_shown else cell.get(f"{_OFFICE}value")
            lines = ("".join(line.itertext()) for line in cell.iterfind(f"{_TEXT}p"))
            yield at, times, stored or "\n".join(lines)
            at += times

    at = 0
    for row in table.iter(f"{_TABLE}table-row"):
        times = max(0, int(row.get(f"{_TABLE}number-rows-repeated") or 1))
        yield at, times, cells(row)
        at += times
