"""Spreadsheets as programs write them: the same rows as xlsx and as ods, made of the least that a reader needs."""

import io
import zipfile
from datetime import date
from xml.sax.saxutils import escape

_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006"
_ODS = (
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"'
)


def packed(parts: dict[str, str]) -> bytes:
    """A file of these parts."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return data.getvalue()


def xlsx(rows) -> bytes:
    """Texts shared or in place, numbers as numbers, days as numbers in a style that shows days; gaps left out."""
    shared: list[str] = []
    lines = []
    for y, row in enumerate(rows, 1):
        cells = []
        for x, value in enumerate(row):
            at = f"{chr(65 + x)}{y}"
            if isinstance(value, date):
                cells.append(f'<c r="{at}" s="1"><v>{(value - date(1899, 12, 30)).days}</v></c>')
            elif isinstance(value, int | float):
                cells.append(f'<c r="{at}"><v>{value}</v></c>')
            elif value and x % 2:
                cells.append(f'<c r="{at}" t="inlineStr"><is><t>{escape(value)}</t></is></c>')
            elif value:
                shared.append(value)
                cells.append(f'<c r="{at}" t="s"><v>{len(shared) - 1}</v></c>')
        lines.append(f'<row r="{y}">{"".join(cells)}</row>')
    texts = "".join(f"<si><r><t>{escape(t[:2])}</t></r><r><t>{escape(t[2:])}</t></r></si>" for t in shared)
    styles = '<numFmts count="1"><numFmt numFmtId="170" formatCode="dd\\.mm\\.yyyy"/></numFmts><cellXfs><xf numFmtId="0"/><xf numFmtId="170"/></cellXfs>'
    links = f"{_OFFICE}/relationships"
    return packed(
        {
            "xl/workbook.xml": f'<workbook {_MAIN} xmlns:r="{links}"><sheets><sheet name="List" sheetId="1" r:id="rId1"/></sheets></workbook>',
            "xl/_rels/workbook.xml.rels": f'<Relationships><Relationship Id="rId1" Type="{links}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
            "xl/worksheets/sheet1.xml": f"<worksheet {_MAIN}><sheetData>{''.join(lines)}</sheetData></worksheet>",
            "xl/sharedStrings.xml": f"<sst {_MAIN}>{texts}</sst>",
            "xl/styles.xml": f"<styleSheet {_MAIN}>{styles}</styleSheet>",
        }
    )


def ods(rows) -> bytes:
    """As office programs write it, with the million empty rows and columns at the end."""
    lines = []
    for row in rows:
        cells = []
        for value in row:
            if isinstance(value, date):
                cells.append(
                    f'<table:table-cell office:value-type="date" office:date-value="{value}T00:00:00"><text:p>{value:%d.%m.%y}</text:p></table:table-cell>'
                )
            elif value == "":
                cells.append("<table:table-cell/>")
            else:
                cells.append(f"<table:table-cell><text:p>{escape(str(value))}</text:p></table:table-cell>")
        cells.append('<table:table-cell table:number-columns-repeated="16000"/>')
        lines.append(f"<table:table-row>{''.join(cells)}</table:table-row>")
    lines.append(
        '<table:table-row table:number-rows-repeated="1048000"><table:table-cell table:number-columns-repeated="16000"/></table:table-row>'
    )
    body = f"<office:body><office:spreadsheet><table:table>{''.join(lines)}</table:table></office:spreadsheet></office:body>"
    return packed({"content.xml": f"<office:document-content {_ODS}>{body}</office:document-content>"})
