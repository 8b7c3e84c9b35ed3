"""Sheets of xlsx and ods files: every cell at its place as it was written, and no file that takes all memory."""

import io
import zipfile
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as some

import made_spreadsheets
import odd_exports
from warehouse.spreadsheets import UnreadableSpreadsheetError, read_sheets

MEGABYTE = 1_000_000
MAKERS = {"xlsx": made_spreadsheets.xlsx, "ods": made_spreadsheets.ods}
texts = some.text("abc é", max_size=5).map(str.strip)
cells = some.one_of(texts, some.integers(0, 10**15 - 1), some.dates(date(1901, 1, 1), date(2100, 1, 1)))


def rows_of(ending, data, **how):
    ((_, rows),) = read_sheets(data, ending, MEGABYTE, **how)
    return rows


def altered(data, name, change):
    """A packed file whose part `name` is changed."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {part: archive.read(part).decode() for part in archive.namelist()}
    return made_spreadsheets.packed(parts | {name: change(parts[name])})


def without_empty_ends(rows):
    kept = [[*map(str, row)] for row in rows]
    for row in kept:
        while row and not row[-1]:
            row.pop()
    while kept and not kept[-1]:
        kept.pop()
    return kept


@pytest.mark.parametrize("ending", MAKERS)
@given(rows=some.lists(some.lists(cells, max_size=5), max_size=5))
def test_every_cell_is_at_its_place_and_days_are_iso_dates(ending, rows):
    assert rows_of(ending, MAKERS[ending](rows), as_shown=True) == without_empty_ends(rows)


@pytest.mark.parametrize(
    ("value", "shown"), [("0.30000000000000004", "0.3"), ("491701234567", "491701234567"), ("238.0", "238")]
)
def test_a_number_is_kept_to_the_last_digit_or_shown_without_noise(value, shown):
    data = altered(
        odd_exports.workbook({"A": [[7]]}), "xl/worksheets/sheet1.xml", lambda t: t.replace("7<", f"{value}<")
    )
    assert rows_of("xlsx", data) == [[value]]
    assert rows_of("xlsx", data, as_shown=True) == [[shown]]


def test_a_workbook_that_counts_from_1904_has_the_same_days():
    counted = made_spreadsheets.xlsx([[date(2012, 4, 13)]])
    from_1904 = altered(
        counted, "xl/workbook.xml", lambda t: t.replace("<sheets>", '<workbookPr date1904="1"/><sheets>')
    )
    from_1904 = altered(
        from_1904, "xl/worksheets/sheet1.xml", lambda t: t.replace("41012", f"{41012 - 1462}")
    )
    assert rows_of("xlsx", from_1904, as_shown=True) == rows_of("xlsx", counted, as_shown=True)
    assert rows_of("xlsx", counted, as_shown=True) == [["2012-04-13"]]


def test_sheets_come_in_the_workbooks_order_with_their_names():
    sheets = {"Right": [["x"]], "Left": [["y"]]}
    assert read_sheets(odd_exports.workbook(sheets), "xlsx", MEGABYTE) == list(sheets.items())


def test_how_a_japanese_word_is_pronounced_is_no_part_of_it():
    data = altered(
        odd_exports.workbook({"A": [["時間"]]}),
        "xl/worksheets/sheet1.xml",
        lambda t: t.replace("</is>", '<rPh sb="0" eb="2"><t>ジカン</t></rPh></is>'),
    )
    assert rows_of("xlsx", data) == [["時間"]]


def test_a_comment_in_an_open_document_is_no_part_of_its_cell_and_wide_gaps_are_kept():
    data = altered(
        made_spreadsheets.ods([["a", "", "b"]]),
        "content.xml",
        lambda t: t.replace(
            "<table:table-cell/>", '<table:table-cell table:number-columns-repeated="99"/>'
        ).replace("<text:p>b", "<office:annotation><text:p>why</text:p></office:annotation><text:p>b"),
    )
    assert rows_of("ods", data) == [["a", *[""] * 99, "b"]]


def far_away(text):
    return text.replace("<c>", '<c r="XFD1">').replace("<row>", '<row r="1048576">')


def often(text):
    return text.replace(
        "<table:table-row>", '<table:table-row table:number-rows-repeated="1048576">'
    ).replace("<table:table-cell ", '<table:table-cell table:number-columns-repeated="16384" ')


def with_entity(text):
    return " " * 5000 + '<!DOCTYPE a [<!ENTITY b "b">]>' + text.partition("?>")[2]


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("xl/worksheets/sheet1.xml", far_away),
        ("xl/worksheets/sheet1.xml", with_entity),
        ("xl/worksheets/sheet1.xml", lambda t: t + " " * MEGABYTE),
        ("xl/worksheets/sheet1.xml", lambda t: t.replace("<row>", '<row r="0">')),
        ("xl/worksheets/sheet1.xml", lambda t: t.replace("UTF-8", "none")[:-5]),
        ("xl/workbook.xml", lambda t: t.replace("<sheets>", '<sheets><sheet name="B" r:id="rId1"/>')),
        ("content.xml", often),
        ("content.xml", with_entity),
        ("content.xml", lambda t: t + " " * MEGABYTE),
    ],
)
def test_what_is_damaged_or_would_grow_without_end_is_refused(name, change):
    ending = "ods" if name == "content.xml" else "xlsx"
    data = odd_exports.open_document([["x"]]) if ending == "ods" else odd_exports.workbook({"A": [["x"]]})
    assert rows_of(ending, data) == [["x"]]
    with pytest.raises(UnreadableSpreadsheetError):
        read_sheets(altered(data, name, change), ending, MEGABYTE)


def test_a_document_type_in_another_encoding_is_refused():
    text = '<?xml version="1.0" encoding="utf-16"?><!DOCTYPE a [<!ENTITY b "b">]><a>&b;</a>'
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("content.xml", text.encode("utf-16"))
    with pytest.raises(UnreadableSpreadsheetError):
        read_sheets(data.getvalue(), "ods", MEGABYTE)


@given(place=some.integers(0, 10**6), byte=some.integers(0, 255))
def test_a_file_with_a_wrong_byte_is_read_or_refused_and_nothing_else(place, byte):
    data = bytearray(made_spreadsheets.xlsx([["Mia Orr", date(2012, 4, 13), 238.5]]))
    data[place % len(data)] = byte
    try:
        read_sheets(bytes(data), "xlsx", MEGABYTE, as_shown=True)
    except UnreadableSpreadsheetError:
        return
