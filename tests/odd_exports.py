"""The same three swings in the many layouts that mats, plates and insoles export them in.

Every layout knows the truth of its own columns, so a test can answer a question the way the owner of the device
would, and can compare what was loaded with what happened.
"""

import gzip
import io
import itertools
import json
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from xml.sax.saxutils import escape

import numpy as np
import polars as pl

BODY_MASS_KG = 70.0
BODY_WEIGHT_N = BODY_MASS_KG * 9.80665
FOOT_LENGTH_MM = 270.0
RATE_HZ = 100.0
SWINGS = (1, 2, 3)
EVENTS = {
    "address": 0.5,
    "takeaway": 0.7,
    "mid_back": 1.2,
    "top": 1.5,
    "mid_down": 1.68,
    "impact": 1.76,
    "finish": 2.3,
}
HEEL_CENTRE_PCT, FOREFOOT_CENTRE_PCT = 15.0, 75.0
SPREADSHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
STARTED_AT = datetime(2026, 4, 7, 15, 10, tzinfo=UTC)

Values = Sequence[object]
Files = dict[str, bytes]


@dataclass(frozen=True)
class Column:
    """One column as exported: its header, its cells, and what it truly is (see `Export.truth`)."""

    header: str
    values: Values
    truth: str


@dataclass(frozen=True)
class Export:
    """One layout: its files and what a reader that understood it would know.

    `truth` maps each header to what the column is, as "left load N", "right along % toe", "swing", "clock ms".
    `known` names the channels that follow from the file, out of left_n, right_n, left_along_pct, right_along_pct,
    left_heel_n, right_heel_n and left_share (of both feet's load).
    `clock_starts_s` is each swing's first time on the file's clock in seconds, or None where the file's clock does
    not count seconds from a plain zero. `facts` are what the owner knows of the file beyond its columns.
    """

    name: str
    files: Files
    truth: dict[str, str]
    known: frozenset[str]
    clock_starts_s: tuple[float, ...] | None = (0.0, 0.0, 0.0)
    facts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Swing:
    """What truly happened in one swing, one array a channel."""

    no: int
    t_s: np.ndarray
    left_n: np.ndarray
    right_n: np.ndarray
    left_along_pct: np.ndarray
    right_along_pct: np.ndarray
    left_heel_n: np.ndarray
    right_heel_n: np.ndarray
    left_ahead_n: np.ndarray
    right_ahead_n: np.ndarray
    left_aside_n: np.ndarray
    right_aside_n: np.ndarray

    @property
    def left_share(self) -> np.ndarray:
        """The left foot's part of the load under both feet."""
        return self.left_n / (self.left_n + self.right_n)


def swing(no: int) -> Swing:
    """The truth of one swing of a right-handed golfer: quiet, over to the right foot, then onto the left."""
    t_s = np.round(np.arange(0.0, 2.6, 1 / RATE_HZ), 4)
    shift = 0.8 * (no - 2)
    points = [0.0, 0.5, 0.75, 1.2, 1.5, 1.68, 1.76, 2.1, 2.6]
    share = np.interp(t_s, points, [0.52, 0.52, 0.44, 0.24, 0.38, 0.66, 0.78, 0.88, 0.9]) + 0.01 * (no - 2)
    total = BODY_WEIGHT_N * np.interp(t_s, points, [1.0, 1.0, 1.0, 0.97, 1.05, 1.3, 1.12, 0.99, 1.0])
    left_along = shift + np.interp(t_s, points, [41.0, 41.0, 46.0, 57.0, 52.0, 38.0, 33.0, 26.0, 24.0])
    right_along = shift + np.interp(t_s, points, [43.0, 43.0, 38.0, 27.0, 31.0, 52.0, 58.0, 66.0, 69.0])
    left, right = total * share, total * (1 - share)
    span = FOREFOOT_CENTRE_PCT - HEEL_CENTRE_PCT
    sway = np.sin(2 * np.pi * t_s / 1.3)
    return Swing(
        no,
        t_s,
        left,
        right,
        left_along,
        right_along,
        left * (FOREFOOT_CENTRE_PCT - left_along) / span,
        right * (FOREFOOT_CENTRE_PCT - right_along) / span,
        0.12 * left * sway,
        -0.11 * right * sway,
        0.2 * left * np.cos(t_s),
        0.17 * right * np.cos(t_s + 0.4),
    )


TRUTH = {no: swing(no) for no in SWINGS}
LOADS = frozenset({"left_n", "right_n", "left_share"})
PLACES = frozenset({"left_along_pct", "right_along_pct"})
HEELS = frozenset({"left_heel_n", "right_heel_n"})
FULL = LOADS | PLACES
BUILDERS: list[Callable[[], Export]] = []


def builder(build: Callable[[], Export]) -> Callable[[], Export]:
    """Add a layout to the list that `exports` gives."""
    BUILDERS.append(build)
    return build


@cache
def exports() -> tuple[Export, ...]:
    """Every layout."""
    return tuple(build() for build in BUILDERS)


# ------------------------------------------------------------------------------------------------ columns


def joined(channel: str, swings: Iterable[int] = SWINGS) -> np.ndarray:
    """A channel of several swings, end to end."""
    return np.concatenate([getattr(TRUTH[no], channel) for no in swings])


def swing_column(header: str = "swing_no", swings: Iterable[int] = SWINGS) -> Column:
    """Each sample's swing number."""
    return Column(header, [no for no in swings for _ in TRUTH[no].t_s], "swing")


def clock(
    header: str = "t_s",
    unit: str = "s",
    *,
    per_second: float = 1.0,
    starts: Sequence[float] = (0.0, 0.0, 0.0),
) -> Column:
    """Each sample's time."""
    times = np.concatenate([TRUTH[no].t_s + start for no, start in zip(SWINGS, starts, strict=True)])
    return Column(header, [round(float(t) * per_second, 4) for t in times], f"clock {unit}")


def load(header: str, foot: str, unit: str = "N", *, newtons: float = 1.0, decimals: int = 2) -> Column:
    """One foot's vertical load in a unit of `newtons` newtons."""
    values = joined(f"{foot}_n") / newtons
    return Column(header, [round(float(v), decimals) for v in values], f"{foot} load {unit}")


def along(header: str, foot: str, unit: str = "%", origin: str = "heel") -> Column:
    """One foot's centre of pressure along the foot, from an origin the header may or may not give."""
    values = joined(f"{foot}_along_pct")
    values = {"heel": values, "toe": 100 - values, "middle": values - 50}[origin]
    scale = {"%": 1.0, "mm": FOOT_LENGTH_MM / 100, "cm": FOOT_LENGTH_MM / 1000, "fraction": 0.01}[unit]
    return Column(header, [round(float(v) * scale, 3) for v in values], f"{foot} along {unit} {origin}")


def part(header: str, channel: str, truth: str, *, per_newton: float = 1.0) -> Column:
    """Another force of the truth: a heel's load, a forefoot's, a shear."""
    if channel.endswith("_fore_n"):
        foot = channel.removesuffix("_fore_n")
        values = joined(f"{foot}_n") - joined(f"{foot}_heel_n")
    else:
        values = joined(channel)
    return Column(header, [round(float(v) * per_newton, 2) for v in values], truth)


def share(header: str, foot: str, *, percent: float = 100.0) -> Column:
    """One foot's part of both feet's load."""
    left = joined("left_share")
    values = percent * (left if foot == "left" else 1 - left)
    return Column(header, [round(float(v), 3) for v in values], f"{foot} share {percent:g}")


def plain(
    names: tuple[str, str, str, str] = ("left_n", "right_n", "left_along_pct", "right_along_pct"),
    swing_header: str = "swing_no",
    clock_header: str = "t_s",
) -> list[Column]:
    """The columns of most layouts: swing, clock, two loads in newtons, two positions in % from the heel."""
    return [
        swing_column(swing_header),
        clock(clock_header),
        load(names[0], "left"),
        load(names[1], "right"),
        along(names[2], "left"),
        along(names[3], "right"),
    ]


def truths(columns: Iterable[Column]) -> dict[str, str]:
    """What each header truly is."""
    return {column.header: column.truth for column in columns}


# ------------------------------------------------------------------------------------------------ writing


def cell(value: object, decimal: str = ".") -> str:
    """A value as exported."""
    return str(value).replace(".", decimal) if isinstance(value, float) else str(value)


def lines_of(
    columns: Sequence[Column],
    delimiter: str = ",",
    decimal: str = ".",
    *,
    header: bool = True,
    quote: bool = False,
    rows: slice = slice(None),
) -> list[str]:
    """A delimited table, line by line."""

    def quoted(text: str) -> str:
        return f'"{text}"' if quote else text

    lines = [delimiter.join(column.header for column in columns)] if header else []
    table = list(zip(*(column.values for column in columns), strict=True))[rows]
    return lines + [delimiter.join(quoted(cell(value, decimal)) for value in row) for row in table]


def text(lines: Iterable[str], encoding: str = "utf-8", end: str = "\n") -> bytes:
    """Lines as a file."""
    return (end.join(lines) + end).encode(encoding)


def frame_of(columns: Sequence[Column]) -> pl.DataFrame:
    """Columns as a data frame."""
    return pl.DataFrame({column.header: list(column.values) for column in columns})


def sample_slices() -> list[slice]:
    """Which rows belong to which swing in a joined table."""
    edges = np.cumsum([0, *(TRUTH[no].t_s.size for no in SWINGS)])
    return [slice(int(a), int(b)) for a, b in itertools.pairwise(edges)]


def sheet_xml(rows: list[list[object]]) -> str:
    """One worksheet, as ECMA-376 has it, its texts inline."""

    def xml(value: object) -> str:
        if isinstance(value, int | float):
            return f"<c><v>{value}</v></c>"
        return f'<c t="inlineStr"><is><t>{escape(str(value))}</t></is></c>'

    body = "".join(f"<row>{''.join(map(xml, row))}</row>" for row in rows)
    return f'<worksheet xmlns="{SPREADSHEET}"><sheetData>{body}</sheetData></worksheet>'


def workbook(sheets: dict[str, list[list[object]]]) -> bytes:
    """An xlsx file of several sheets of raw cells."""
    numbers = range(1, len(sheets) + 1)
    part_type = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    parts = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{part_type}.sheet.main+xml"/>'
        + "".join(
            f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{part_type}.worksheet+xml"/>'
            for n in numbers
        )
        + "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{OFFICE}/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{SPREADSHEET}" xmlns:r="{OFFICE}/relationships"><sheets>'
        + "".join(
            f'<sheet name="{name}" sheetId="{n}" r:id="rId{n}"/>'
            for n, name in zip(numbers, sheets, strict=True)
        )
        + "</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
        + "".join(
            f'<Relationship Id="rId{n}" Type="{OFFICE}/relationships/worksheet" Target="worksheets/sheet{n}.xml"/>'
            for n in numbers
        )
        + "</Relationships>",
    } | {
        f"xl/worksheets/sheet{n}.xml": sheet_xml(rows)
        for n, rows in zip(numbers, sheets.values(), strict=True)
    }
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, f'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>{content}')
    return buffer.getvalue()


def cells_of(columns: Sequence[Column], rows: slice = slice(None)) -> list[list[object]]:
    """A header row and the rows below it, for a workbook."""
    table = list(zip(*(column.values for column in columns), strict=True))[rows]
    return [[column.header for column in columns], *(list(row) for row in table)]


def open_document(rows: list[list[object]]) -> bytes:
    """An ods file of one sheet, written as the OpenDocument standard has it."""

    def xml(value: object) -> str:
        if isinstance(value, int | float):
            return (
                f'<table:table-cell office:value-type="float" office:value="{value}">'
                f"<text:p>{value}</text:p></table:table-cell>"
            )
        return f'<table:table-cell office:value-type="string"><text:p>{escape(str(value))}</text:p></table:table-cell>'

    body = "".join(f"<table:table-row>{''.join(map(xml, row))}</table:table-row>" for row in rows)
    content = (
        '<?xml version="1.0" encoding="UTF-8"?><office:document-content '
        'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.2">'
        f'<office:body><office:spreadsheet><table:table table:name="Sheet1">{body}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest '
        'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.2">'
        '<manifest:file-entry manifest:full-path="/" '
        'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
    )
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", manifest)
    return buffer.getvalue()


def simple(
    name: str,
    columns: list[Column],
    known: Iterable[str] = FULL,
    *,
    file: str = "plate.csv",
    clock_starts_s: tuple[float, ...] | None = (0.0, 0.0, 0.0),
    facts: dict[str, str] | None = None,
    delimiter: str = ",",
    decimal: str = ".",
    encoding: str = "utf-8",
    before: Sequence[str] = (),
    after: Sequence[str] = (),
    under_header: Sequence[str] = (),
    end: str = "\n",
    quote: bool = False,
) -> Export:
    """A layout that is one delimited table with something before, under or after its header."""
    lines = lines_of(columns, delimiter, decimal, quote=quote)
    lines = [*before, lines[0], *under_header, *lines[1:], *after]
    return Export(
        name,
        {file: text(lines, encoding, end)},
        truths(columns),
        frozenset(known),
        clock_starts_s,
        tuple((facts or {}).items()),
    )


# ------------------------------------------------------------------------------------- text and languages


@builder
def plain_names() -> Export:
    return simple("the documented names", plain())


@builder
def german() -> Export:
    names = (
        "Kraft links (N)",
        "Kraft rechts (N)",
        "Position links ab Ferse (%)",
        "Position rechts ab Ferse (%)",
    )
    columns = plain(names, "Schwung", "Zeit (s)")
    return simple(
        "German, semicolons, decimal commas, Windows", columns, delimiter=";", decimal=",", encoding="cp1252"
    )


@builder
def german_short() -> Export:
    names = ("Last L [N]", "Last R [N]", "Druckpunkt L von Ferse [%]", "Druckpunkt R von Ferse [%]")
    columns = plain(names, "Schlag Nr.", "Zeit [s]")
    return simple(
        "German, tabs, UTF-16", columns, delimiter="\t", decimal=",", encoding="utf-16", file="plate.tsv"
    )


@builder
def french() -> Export:
    names = (
        "Force pied gauche (N)",
        "Force pied droit (N)",
        "Appui gauche depuis le talon (%)",
        "Appui droit depuis le talon (%)",
    )
    columns = plain(names, "Numéro de swing", "Temps (s)")
    return simple("French, semicolons, Latin-1", columns, delimiter=";", decimal=",", encoding="latin-1")


@builder
def spanish() -> Export:
    names = (
        "Fuerza pie izquierdo (N)",
        "Fuerza pie derecho (N)",
        "Posición izquierda desde el talón (%)",
        "Posición derecha desde el talón (%)",
    )
    return simple(
        "Spanish, byte-order mark", plain(names, "Golpe", "Tiempo (s)"), delimiter=";", encoding="utf-8-sig"
    )


@builder
def japanese() -> Export:
    names = ("左足荷重(N)", "右足荷重(N)", "左足 踵からの位置(%)", "右足 踵からの位置(%)")
    return simple(
        "Japanese, Shift-JIS", plain(names, "スイング番号", "時間(s)"), encoding="shift_jis", end="\r\n"
    )


@builder
def japanese_utf8() -> Export:
    names = ("左荷重 [N]", "右荷重 [N]", "左位置 かかとから [%]", "右位置 かかとから [%]")
    return simple(
        "Japanese, UTF-8, tabs", plain(names, "スイング", "時刻 [s]"), delimiter="\t", file="plate.txt"
    )


@builder
def quoted_commas() -> Export:
    return simple("quoted decimal commas between commas", plain(), decimal=",", quote=True)


@builder
def pipes() -> Export:
    names = ("Left force (N)", "Right force (N)", "Left from heel (%)", "Right from heel (%)")
    return simple("pipes", plain(names, "Swing", "Time (s)"), delimiter="|", file="plate.txt")


@builder
def aligned() -> Export:
    columns = plain()
    lines = [" ".join(f"{part:>16}" for part in line.split(",")) for line in lines_of(columns)]
    return Export("aligned with spaces", {"plate.txt": text(lines)}, truths(columns), FULL)


@builder
def upper_case() -> Export:
    names = ("LEFT_FORCE_N", "RIGHT_FORCE_N", "LEFT_HEEL_TO_TOE_PCT", "RIGHT_HEEL_TO_TOE_PCT")
    return simple("capitals, heel to toe", plain(names, "SWING", "TIME_S"))


@builder
def lead_and_trail() -> Export:
    names = ("Lead foot load (N)", "Trail foot load (N)", "Lead from heel (%)", "Trail from heel (%)")
    return simple("lead and trail", plain(names, "Swing", "Time (s)"))


@builder
def front_and_back_foot() -> Export:
    names = ("Front foot (N)", "Back foot (N)", "Front foot from heel (%)", "Back foot from heel (%)")
    return simple("front and back foot", plain(names, "Swing", "Time (s)"))


@builder
def right_first() -> Export:
    columns = plain(
        ("Left [N]", "Right [N]", "Left from heel [%]", "Right from heel [%]"), "Swing", "Time [s]"
    )
    columns = [columns[0], columns[1], columns[3], columns[2], columns[5], columns[4]]
    return simple("the right foot first", columns)


@builder
def trailing_delimiters() -> Export:
    columns = plain()
    lines = [line + ",," for line in lines_of(columns)]
    return Export("trailing delimiters", {"plate.csv": text(lines)}, truths(columns), FULL)


@builder
def row_numbers() -> Export:
    columns = plain()
    lines = [f"{row or ''},{line}" for row, line in enumerate(lines_of(columns))]
    return Export("row numbers under no name", {"plate.csv": text(lines)}, truths(columns), FULL)


@builder
def scientific() -> Export:
    columns = plain()
    lines = lines_of(columns, header=False)
    rows = [
        ",".join([line.split(",")[0], *(f"{float(v):.6E}" for v in line.split(",")[1:])]) for line in lines
    ]
    return Export(
        "scientific notation", {"plate.csv": text([lines_of(columns)[0], *rows])}, truths(columns), FULL
    )


@builder
def thousands() -> Export:
    columns = plain(
        ("Left (g)", "Right (g)", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)"
    )
    grams = [
        load("Left (g)", "left", "g", newtons=0.00980665),
        load("Right (g)", "right", "g", newtons=0.00980665),
    ]
    columns[2:4] = [Column(c.header, [f"{float(str(v)):,.1f}" for v in c.values], c.truth) for c in grams]
    return simple("grams with thousands separators", columns, delimiter=";")


@builder
def dropped_samples() -> Export:
    columns = plain()
    for place in range(2, 6):
        values: list[object] = list(columns[place].values)
        values[100] = "NaN"
        values[361] = "-"
        columns[place] = Column(columns[place].header, values, columns[place].truth)
    return simple("dropped samples as NaN and dashes", columns)


@builder
def newest_first() -> Export:
    columns = plain()
    lines = lines_of(columns)
    return Export(
        "newest sample first", {"plate.csv": text([lines[0], *lines[:0:-1]])}, truths(columns), FULL
    )


# ------------------------------------------------------------------------------- around and inside the table


@builder
def units_row() -> Export:
    columns = plain(("Left load", "Right load", "Left from heel", "Right from heel"), "Swing", "Time")
    return simple("a units row", columns, under_header=["-,s,N,N,%,%"])


@builder
def units_row_in_kilograms() -> Export:
    columns = plain(("Left load", "Right load", "Left from heel", "Right from heel"), "Swing", "Time")
    columns[1] = clock("Time", "ms", per_second=1000)
    columns[2:4] = [
        load("Left load", "left", "kg", newtons=9.80665),
        load("Right load", "right", "kg", newtons=9.80665),
    ]
    return simple(
        "a units row, kilograms and milliseconds", columns, under_header=["[],[ms],[kg],[kg],[%],[%]"]
    )


@builder
def metadata_lines() -> Export:
    names = ("Left force (N)", "Right force (N)", "Left from heel (%)", "Right from heel (%)")
    before = ["Device: mat", "Recorded: 2026-04-07", "Sampling rate: 100 Hz", ""]
    return simple("lines of metadata", plain(names, "Swing", "Time (s)"), before=before)


@builder
def metadata_with_commas() -> Export:
    names = ("Left force (N)", "Right force (N)", "Left from heel (%)", "Right from heel (%)")
    before = ["Subject,A", "Mass (kg),70", "Rate (Hz),100", "Channels,L,R,both,none,x", ""]
    return simple("a metadata table above", plain(names, "Swing", "Time (s)"), before=before)


@builder
def metadata_after_hash() -> Export:
    return simple("metadata after a hash", plain(), before=["# plate export", "# rate=100"])


@builder
def separator_line() -> Export:
    return simple("a sep= line", plain(), delimiter=";", before=["sep=;"])


@builder
def group_row() -> Export:
    columns = plain(("Load (N)", "Load (N) ", "From heel (%)", "From heel (%) "), "Swing", "Time (s)")
    columns = [columns[0], columns[1], columns[2], columns[4], columns[3], columns[5]]
    headers = ["Swing,Time (s),Left,,Right,", ",,Load (N),From heel (%),Load (N),From heel (%)"]
    body = lines_of(columns, header=False)
    truth = {"Left Load (N)": "left load N", "Right Load (N)": "right load N"}
    return Export("feet in a row above the header", {"plate.csv": text([*headers, *body])}, truth, FULL)


@builder
def group_row_and_units() -> Export:
    columns = plain()
    columns = [columns[0], columns[1], columns[2], columns[4], columns[3], columns[5]]
    headers = [
        ",,Left foot,Left foot,Right foot,Right foot",
        "Swing,Time,Load,From heel,Load,From heel",
        ",s,N,%,N,%",
    ]
    body = lines_of(columns, header=False)
    return Export("feet above, units below the header", {"plate.csv": text([*headers, *body])}, {}, FULL)


@builder
def summary_below() -> Export:
    return simple(
        "a summary below", plain(), after=["", "Maximum,,812.4,640.1,59.2,71.0", "Mean,,343.2,343.2,41,44"]
    )


@builder
def repeated_header_blocks() -> Export:
    columns = plain()[1:]
    lines: list[str] = []
    for rows in sample_slices():
        lines += [*lines_of(columns, rows=rows), ""]
    return Export("a block a swing, header repeated", {"plate.csv": text(lines)}, truths(columns), FULL)


@builder
def titled_blocks() -> Export:
    columns = plain()[1:]
    lines: list[str] = []
    for no, rows in zip(SWINGS, sample_slices(), strict=True):
        lines += [f"Swing {no}", *lines_of(columns, rows=rows), ""]
    return Export("titled blocks", {"plate.csv": text(lines)}, truths(columns), FULL)


@builder
def no_header() -> Export:
    columns = plain()
    return Export(
        "no header at all", {"plate.csv": text(lines_of(columns, header=False))}, truths(columns), FULL
    )


@builder
def transposed() -> Export:
    lines = [",".join([c.header, *(cell(v) for v in c.values)]) for c in plain()]
    return Export("a row a channel", {"plate.csv": text(lines)}, truths(plain()), FULL)


@builder
def long_by_channel() -> Export:
    columns = plain()
    rows = ["swing,time_s,channel,value"]
    names = {"left_n": "left force N", "right_n": "right force N"} | {
        f"{foot}_along_pct": f"{foot} from heel %" for foot in ("left", "right")
    }
    for column in columns[2:]:
        for no, t, v in zip(columns[0].values, columns[1].values, column.values, strict=True):
            rows.append(f"{no},{t},{names[column.header]},{v}")
    return Export("one value a row", {"plate.csv": text(rows)}, {}, FULL)


@builder
def one_foot_a_row() -> Export:
    columns = plain()
    rows = ["Swing,Time (s),Foot,Force (N),From heel (%)"]
    for no, t, ln, rn, la, ra in zip(*(c.values for c in columns), strict=True):
        rows += [f"{no},{t},L,{ln},{la}", f"{no},{t},R,{rn},{ra}"]
    truth = {"Swing": "swing", "Time (s)": "clock s", "Foot": "foot"}
    return Export("one foot a row", {"plate.csv": text(rows)}, truth, FULL)


@builder
def one_foot_a_file() -> Export:
    columns = plain(("Force (N)", "Force (N)", "From heel (%)", "From heel (%)"), "Swing", "Time (s)")
    files = {
        "plate_left.csv": text(lines_of([columns[0], columns[1], columns[2], columns[4]])),
        "plate_right.csv": text(lines_of([columns[0], columns[1], columns[3], columns[5]])),
    }
    return Export("one foot a file", files, {"Swing": "swing", "Time (s)": "clock s"}, FULL)


@builder
def one_swing_a_file() -> Export:
    columns = plain()[1:]
    files = {
        f"plate_{no}.csv": text(lines_of(columns, rows=rows))
        for no, rows in zip(SWINGS, sample_slices(), strict=True)
    }
    return Export("one swing a file", files, truths(columns), FULL)


@builder
def same_names_twice() -> Export:
    columns = plain(("Force (N)", "Force (N)", "Heel distance (%)", "Heel distance (%)"), "Swing", "Time (s)")
    columns = [columns[0], columns[1], columns[2], columns[4], columns[3], columns[5]]
    facts = {"first foot": "left"}
    return simple("the same two names for each foot", columns, facts=facts)


# ----------------------------------------------------------------------------------------- clocks and swings


@builder
def milliseconds() -> Export:
    columns = plain()
    columns[1] = clock("Time (ms)", "ms", per_second=1000)
    return simple("milliseconds", columns)


@builder
def milliseconds_unsaid() -> Export:
    columns = plain()
    columns[1] = clock("Time", "ms", per_second=1000)
    return simple("milliseconds, unsaid", columns)


@builder
def frames_and_rate() -> Export:
    columns = plain()
    frames = [round(float(str(t)) * RATE_HZ) for t in columns[1].values]
    columns[1] = Column("Frame", frames, "frame")
    return simple("frame numbers and a rate above", columns, before=["Sample rate (Hz): 100", ""])


@builder
def frames_without_rate() -> Export:
    columns = plain()
    columns[1] = Column("Sample", [round(float(str(t)) * RATE_HZ) for t in columns[1].values], "frame")
    return simple("sample numbers and no rate", columns, facts={"rate": "100"})


@builder
def no_clock_with_rate() -> Export:
    columns = plain()
    del columns[1]
    return simple("no clock, a rate above", columns, before=["Rate,100 Hz", ""])


@builder
def no_clock_no_rate() -> Export:
    columns = plain()
    del columns[1]
    return simple("no clock and no rate", columns, facts={"rate": "100"})


def stamps(form: Callable[[datetime], str]) -> list[object]:
    """Times of day of each sample, the swings twenty seconds apart."""
    times = clock(starts=(0.0, 20.0, 40.0)).values
    return [form(STARTED_AT + timedelta(seconds=round(float(str(t)), 3))) for t in times]


@builder
def time_of_day() -> Export:
    columns = plain()
    columns[1] = Column("Time", stamps(lambda t: f"{t:%H:%M:%S}.{t.microsecond // 1000:03d}"), "clock h:m:s")
    return simple("time of day", columns, clock_starts_s=None)


@builder
def minutes_and_seconds() -> Export:
    columns = plain()
    columns[1] = Column("Zeit", stamps(lambda t: f"{t:%M:%S},{t.microsecond // 1000:03d}"), "clock m:s")
    return simple(
        "minutes and seconds with a comma", columns, clock_starts_s=None, delimiter=";", decimal=","
    )


@builder
def iso_stamps() -> Export:
    columns = plain()
    columns[1] = Column("timestamp", stamps(lambda t: t.isoformat(timespec="milliseconds")), "clock iso")
    return simple("ISO 8601 timestamps", columns, clock_starts_s=None)


@builder
def epoch_milliseconds() -> Export:
    columns = plain()
    start = STARTED_AT.timestamp()
    times = clock(starts=(0.0, 20.0, 40.0)).values
    columns[1] = Column("timestamp", [round((start + float(str(t))) * 1000) for t in times], "clock epoch ms")
    return simple("milliseconds since 1970", columns, clock_starts_s=None)


@builder
def parts_of_a_day() -> Export:
    columns = plain()
    times = clock(starts=(0.0, 20.0, 40.0)).values
    columns[1] = Column("Time", [(58_200 + float(str(t))) / 86_400 for t in times], "clock d")
    return simple("parts of a day, as spreadsheets count", columns, clock_starts_s=None)


@builder
def clock_restarts() -> Export:
    columns = plain()[1:]
    return simple("swings told apart by a clock that restarts", columns)


@builder
def clock_gaps() -> Export:
    columns = plain()[1:]
    columns[0] = clock(starts=(0.0, 20.0, 40.0))
    return simple("swings told apart by pauses", columns, clock_starts_s=(0.0, 20.0, 40.0))


@builder
def named_swings() -> Export:
    columns = plain(swing_header="Trial")
    columns[0] = Column("Trial", [f"Swing {no:02d}" for no in columns[0].values], "swing")
    return simple("swings with names", columns)


# ------------------------------------------------------------------------------------------- other containers


@builder
def spreadsheet() -> Export:
    return Export("xlsx", {"plate.xlsx": workbook({"Data": cells_of(plain())})}, truths(plain()), FULL)


@builder
def spreadsheet_with_metadata() -> Export:
    names = ("Left load", "Right load", "Left from heel", "Right from heel")
    columns = plain(names, "Swing", "Time")
    rows = cells_of(columns)
    units: list[object] = ["", "s", "N", "N", "%", "%"]
    sheet = [["Report", "2026-04-07"], ["Rate", 100], [], rows[0], units, *rows[1:]]
    return Export(
        "xlsx, metadata and units", {"plate.xlsx": workbook({"Export": sheet})}, truths(columns), FULL
    )


@builder
def sheet_a_swing() -> Export:
    columns = plain()[1:]
    sheets = {
        f"Swing {no}": cells_of(columns, rows) for no, rows in zip(SWINGS, sample_slices(), strict=True)
    }
    return Export("xlsx, a sheet a swing", {"plate.xlsx": workbook(sheets)}, truths(columns), FULL)


@builder
def sheet_a_foot() -> Export:
    columns = plain(("Force (N)", "Force (N)", "From heel (%)", "From heel (%)"), "Swing", "Time (s)")
    sheets = {
        "Left": cells_of([columns[0], columns[1], columns[2], columns[4]]),
        "Right": cells_of([columns[0], columns[1], columns[3], columns[5]]),
    }
    return Export("xlsx, a sheet a foot", {"plate.xlsx": workbook(sheets)}, {}, FULL)


@builder
def sheet_behind_a_cover() -> Export:
    sheets: dict[str, list[list[object]]] = {
        "Info": [["Device", "mat"], ["Rate", 100]],
        "Samples": cells_of(plain()),
    }
    return Export(
        "xlsx, the table behind a cover sheet", {"plate.xlsx": workbook(sheets)}, truths(plain()), FULL
    )


@builder
def open_document_sheet() -> Export:
    return Export("ods", {"plate.ods": open_document(cells_of(plain()))}, truths(plain()), FULL)


@builder
def parquet() -> Export:
    buffer = io.BytesIO()
    names = ("Left Fz [N]", "Right Fz [N]", "Left from heel [%]", "Right from heel [%]")
    columns = plain(names, "Swing", "Time [s]")
    frame_of(columns).write_parquet(buffer)
    return Export(
        "parquet with a device's names", {"plate.parquet": buffer.getvalue()}, truths(columns), FULL
    )


@builder
def gzipped() -> Export:
    return Export("gzip", {"plate.csv.gz": gzip.compress(text(lines_of(plain())))}, truths(plain()), FULL)


@builder
def zipped() -> Export:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("plate.csv", text(lines_of(plain())))
    return Export("zip", {"plate.zip": buffer.getvalue()}, truths(plain()), FULL)


@builder
def json_rows() -> Export:
    rows = frame_of(plain()).to_dicts()
    return Export("JSON", {"plate.json": json.dumps(rows).encode()}, truths(plain()), FULL)


# --------------------------------------------------------------------------------------------------- loads


def in_unit(name: str, left: str, right: str, unit: str, newtons: float) -> Export:
    """A layout whose loads are in another unit."""
    columns = plain(("", "", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)")
    columns[2:4] = [load(left, "left", unit, newtons=newtons), load(right, "right", unit, newtons=newtons)]
    return simple(name, columns)


@builder
def kilograms() -> Export:
    return in_unit("kilograms", "Left (kg)", "Right (kg)", "kg", 9.80665)


@builder
def pounds() -> Export:
    return in_unit("pounds", "Left Force (lbs)", "Right Force (lbs)", "lbf", 4.4482216)


@builder
def body_weight_percent() -> Export:
    return in_unit("per cent of body weight", "Left (%BW)", "Right (%BW)", "%BW", BODY_WEIGHT_N / 100)


@builder
def body_weights() -> Export:
    columns = plain(("", "", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)")
    columns[2:4] = [
        load("Left (BW)", "left", "BW", newtons=BODY_WEIGHT_N, decimals=5),
        load("Right (BW)", "right", "BW", newtons=BODY_WEIGHT_N, decimals=5),
    ]
    return simple("body weights", columns)


@builder
def kilonewtons() -> Export:
    columns = plain(("", "", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)")
    columns[2:4] = [
        load("Left Fz (kN)", "left", "kN", newtons=1000, decimals=5),
        load("Right Fz (kN)", "right", "kN", newtons=1000, decimals=5),
    ]
    return simple("kilonewtons", columns)


@builder
def unsaid_newtons() -> Export:
    return in_unit("newtons, unsaid", "Left", "Right", "N", 1.0)


@builder
def unsaid_kilograms() -> Export:
    return in_unit("kilograms, unsaid", "Left load", "Right load", "kg", 9.80665)


@builder
def unsaid_pounds() -> Export:
    return in_unit("pounds, unsaid", "Left force", "Right force", "lbf", 4.4482216)


@builder
def wrongly_said() -> Export:
    return in_unit("kilograms under a header that says newtons", "Left (N)", "Right (N)", "kg", 9.80665)


@builder
def raw_counts() -> Export:
    return in_unit("raw counts", "Left ADC", "Right ADC", "counts", BODY_WEIGHT_N / 48_211)


@builder
def not_zeroed() -> Export:
    columns = plain()
    columns[2:4] = [
        Column(c.header, [round(float(str(v)) + 110, 2) for v in c.values], "biased load")
        for c in columns[2:4]
    ]
    return simple("plates that were not zeroed", columns, known=())


@builder
def downward_negative() -> Export:
    columns = plain(("L Fz (N)", "R Fz (N)", "L from heel (%)", "R from heel (%)"), "Trial", "Time (s)")
    columns[2:4] = [
        Column(c.header, [-float(str(v)) for v in c.values], f"{c.truth} negative") for c in columns[2:4]
    ]
    return simple("vertical force counted downwards", columns)


@builder
def three_axes() -> Export:
    columns = plain(("", "", "L from heel (%)", "R from heel (%)"), "Trial", "Time (s)")
    columns[2:4] = [
        part("L Fx (N)", "left_aside_n", "left shear"),
        part("L Fy (N)", "left_ahead_n", "left shear"),
        load("L Fz (N)", "left"),
        part("R Fx (N)", "right_aside_n", "right shear"),
        part("R Fy (N)", "right_ahead_n", "right shear"),
        load("R Fz (N)", "right"),
    ]
    return simple("three axes, z up", columns)


@builder
def three_axes_y_up() -> Export:
    columns = plain(("", "", "L from heel (%)", "R from heel (%)"), "Trial", "Time (s)")
    columns[2:4] = [
        part("L_Fx", "left_aside_n", "left shear"),
        load("L_Fy", "left"),
        part("L_Fz", "left_ahead_n", "left shear"),
        part("R_Fx", "right_aside_n", "right shear"),
        load("R_Fy", "right"),
        part("R_Fz", "right_ahead_n", "right shear"),
    ]
    return simple("three axes, y up", columns)


@builder
def shear_first() -> Export:
    columns = plain(("", "", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)")
    columns[2:4] = [
        part("Left shear force (N)", "left_aside_n", "left shear"),
        part("Right shear force (N)", "right_aside_n", "right shear"),
        load("Left vertical force (N)", "left"),
        load("Right vertical force (N)", "right"),
    ]
    return simple("shear before vertical", columns)


@builder
def horizontal_and_vertical() -> Export:
    columns = plain(("", "", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)")
    columns[2:4] = [
        part("Left horizontal (N)", "left_aside_n", "left shear"),
        load("Left vertical (N)", "left"),
        part("Right horizontal (N)", "right_aside_n", "right shear"),
        load("Right vertical (N)", "right"),
    ]
    return simple("horizontal beside vertical", columns)


@builder
def shear_only() -> Export:
    columns = plain(("", "", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)")
    columns[2:4] = [
        part("Left force (N)", "left_aside_n", "left shear"),
        part("Right force (N)", "right_aside_n", "right shear"),
    ]
    return simple("shear under a name that says force", columns, known=())


@builder
def two_loads_a_foot() -> Export:
    columns = plain(("Left force (N)", "Right force (N)", "Left from heel (%)", "Right from heel (%)"))
    smooth = [
        Column(
            c.header.replace("force", "force filtered"),
            [round(float(str(v)) * 0.985, 2) for v in c.values],
            f"{c.truth} smoothed",
        )
        for c in columns[2:4]
    ]
    columns[4:4] = smooth
    return simple("each load raw and smoothed", columns)


@builder
def more_names_than_cells() -> Export:
    columns = plain(
        ("Left force, raw (N)", "Right force, raw (N)", "Left from heel (%)", "Right from heel (%)")
    )
    return simple("commas inside unquoted headers", columns, known=())


@builder
def left_and_right_exchanged() -> Export:
    columns = plain()
    columns[2:4] = [
        Column("left_n", columns[3].values, "right load N"),
        Column("right_n", columns[2].values, "left load N"),
    ]
    columns[4:6] = [
        Column("left_along_pct", columns[5].values, "right along % heel"),
        Column("right_along_pct", columns[4].values, "left along % heel"),
    ]
    return simple("feet exchanged under the documented names", columns, known=())


# --------------------------------------------------------------------------------------- parts of a foot


@builder
def heel_and_forefoot_letters() -> Export:
    columns = [
        swing_column("Swing"),
        clock("Time (s)"),
        part("LF", "left_fore_n", "left fore N"),
        part("LH", "left_heel_n", "left heel N"),
        part("RF", "right_fore_n", "right fore N"),
        part("RH", "right_heel_n", "right heel N"),
    ]
    return simple("LF, LH, RF, RH", columns, LOADS | HEELS)


@builder
def fore_and_rear_letters() -> Export:
    columns = [
        swing_column("Swing"),
        clock("Time (s)"),
        part("L_F (N)", "left_fore_n", "left fore N"),
        part("L_R (N)", "left_heel_n", "left heel N"),
        part("R_F (N)", "right_fore_n", "right fore N"),
        part("R_R (N)", "right_heel_n", "right heel N"),
    ]
    return simple("front and rear letters beside left and right letters", columns, LOADS | HEELS)


@builder
def whole_foot_letters() -> Export:
    columns = plain(("LF (N)", "RF (N)", "LP from heel (%)", "RP from heel (%)"), "Swing", "Time (s)")
    return simple("LF and RF for whole feet", columns)


@builder
def heel_and_toe_words() -> Export:
    columns = [
        swing_column("Swing"),
        clock("Time (s)"),
        part("Left toe (N)", "left_fore_n", "left fore N"),
        part("Left heel (N)", "left_heel_n", "left heel N"),
        part("Right toe (N)", "right_fore_n", "right fore N"),
        part("Right heel (N)", "right_heel_n", "right heel N"),
    ]
    return simple("toe and heel loads in words", columns, LOADS | HEELS)


def four_cells(headers: Sequence[str], name: str) -> Export:
    """Four load cells under each foot."""
    columns = [swing_column("Swing"), clock("Time (s)")]
    cells = [("heel_n", 0.45), ("heel_n", 0.55), ("fore_n", 0.4), ("fore_n", 0.6)]
    places = ["heel inside", "heel outside", "fore inside", "fore outside"]
    for number, header in enumerate(headers):
        foot = "left" if number < len(cells) else "right"
        channel, piece = cells[number % 4]
        truth = f"{foot} {places[number % 4]} N"
        columns.append(part(header, f"{foot}_{channel}", truth, per_newton=piece))
    return simple(name, columns, LOADS | HEELS)


@builder
def four_named_cells() -> Export:
    places = ["heel inside", "heel outside", "forefoot inside", "forefoot outside"]
    return four_cells(
        [f"{foot} {place} (N)" for foot in ("Left", "Right") for place in places], "four named cells"
    )


@builder
def four_numbered_cells() -> Export:
    return four_cells([f"{foot}{n}" for foot in "LR" for n in range(1, 5)], "four numbered cells a foot")


@builder
def eight_channels() -> Export:
    return four_cells([f"Ch{n}" for n in range(1, 9)], "eight numbered channels")


@builder
def heel_percent_of_foot() -> Export:
    columns = plain(("Left load (N)", "Right load (N)", "", ""), "Swing", "Time (s)")[:4]
    for foot in ("left", "right"):
        percent = 100 * joined(f"{foot}_heel_n") / joined(f"{foot}_n")
        columns.append(
            Column(f"{foot.title()} heel %", [round(float(v), 3) for v in percent], f"{foot} heel % of foot")
        )
    return simple("heel per cent of each foot", columns, LOADS | HEELS)


@builder
def quarters_of_the_load() -> Export:
    columns = [swing_column("Swing"), clock("Time (s)")]
    both = joined("left_n") + joined("right_n")
    for foot in ("left", "right"):
        heel = 100 * joined(f"{foot}_heel_n") / both
        fore = 100 * joined(f"{foot}_n") / both - heel
        columns.append(
            Column(f"{foot.title()} heel %", [round(float(v), 4) for v in heel], f"{foot} heel % of both")
        )
        columns.append(
            Column(f"{foot.title()} toe %", [round(float(v), 4) for v in fore], f"{foot} fore % of both")
        )
    return simple("four quarters that make a hundred", columns, {"left_share"})


# -------------------------------------------------------------------------------- shares, and what is missing


@builder
def force_only() -> Export:
    return simple("force only", plain(("Left (N)", "Right (N)", "", ""), "Swing", "Time (s)")[:4], LOADS)


@builder
def shares_only() -> Export:
    columns = [swing_column("Swing"), clock("Time (s)"), share("Left %", "left"), share("Right %", "right")]
    return simple("shares only", columns, {"left_share"})


@builder
def one_share() -> Export:
    columns = [swing_column("Swing"), clock("Time (s)"), share("Left weight %", "left")]
    return simple("one share", columns, {"left_share"})


@builder
def lead_fraction() -> Export:
    columns = [swing_column("Swing"), clock("Time (s)"), share("Lead fraction", "left", percent=1.0)]
    return simple("the lead foot's fraction", columns, {"left_share"})


@builder
def shares_and_places() -> Export:
    columns = [
        swing_column("Swing"),
        clock("Time (s)"),
        share("Left %", "left"),
        share("Right %", "right"),
        along("Left CoP from heel %", "left"),
        along("Right CoP from heel %", "right"),
    ]
    return simple("shares and positions", columns, PLACES | {"left_share"})


@builder
def total_and_share() -> Export:
    columns = [swing_column("Swing"), clock("Time (s)")]
    both = [round(float(v), 3) for v in joined("left_n") + joined("right_n")]
    columns += [Column("Total force (N)", both, "total N"), share("Left %", "left")]
    return simple("total force and one share", columns, LOADS)


@builder
def total_beside_feet() -> Export:
    columns = plain(
        ("Left (N)", "Right (N)", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)"
    )
    both = [round(float(v), 2) for v in joined("left_n") + joined("right_n")]
    columns.insert(2, Column("Total (N)", both, "total N"))
    return simple("a total beside the feet", columns)


@builder
def total_only() -> Export:
    both = [round(float(v), 2) for v in joined("left_n") + joined("right_n")]
    columns = [swing_column("Swing"), clock("Time (s)"), Column("Force (N)", both, "total N")]
    return simple("both feet on one plate", columns, known=())


@builder
def total_and_one_foot() -> Export:
    both = [round(float(v), 2) for v in joined("left_n") + joined("right_n")]
    columns = [
        swing_column("Swing"),
        clock("Time (s)"),
        load("Left (N)", "left"),
        Column("Total (N)", both, "total N"),
    ]
    return simple("a total and one foot", columns, LOADS)


@builder
def one_foot_only() -> Export:
    columns = [
        swing_column("Swing"),
        clock("Time (s)"),
        load("Left (N)", "left"),
        along("Left from heel (%)", "left"),
    ]
    return simple("one foot only", columns, known=())


@builder
def one_position_missing() -> Export:
    columns = plain(("Left (N)", "Right (N)", "Left from heel (%)", ""), "Swing", "Time (s)")[:5]
    return simple("one foot's position only", columns, LOADS | {"left_along_pct"})


# --------------------------------------------------------------------------------------------- positions


def placed(name: str, left: str, right: str, unit: str, origin: str) -> Export:
    """A layout whose positions count from somewhere."""
    columns = plain(("Left (N)", "Right (N)", "", ""), "Swing", "Time (s)")
    columns[4:6] = [along(left, "left", unit, origin), along(right, "right", unit, origin)]
    return simple(name, columns)


@builder
def from_the_toe() -> Export:
    return placed("position from the toe", "Left from toe (%)", "Right from toe (%)", "%", "toe")


@builder
def from_the_toe_unsaid() -> Export:
    return placed("position from the toe, unsaid", "Left CoP (%)", "Right CoP (%)", "%", "toe")


@builder
def from_the_heel_unsaid() -> Export:
    return placed("position from the heel, unsaid", "Left CoP Y (%)", "Right CoP Y (%)", "%", "heel")


@builder
def from_the_middle() -> Export:
    return placed(
        "millimetres from the middle",
        "Left CoP from centre (mm)",
        "Right CoP from centre (mm)",
        "mm",
        "middle",
    )


@builder
def from_the_middle_unsaid() -> Export:
    return placed(
        "millimetres from the middle, unsaid", "Left CoP Y (mm)", "Right CoP Y (mm)", "mm", "middle"
    )


@builder
def from_the_middle_in_percent() -> Export:
    return placed("per cent from the middle, unsaid", "Left heel-toe %", "Right heel-toe %", "%", "middle")


@builder
def millimetres_from_the_heel() -> Export:
    return placed("millimetres from the heel", "Left from heel (mm)", "Right from heel (mm)", "mm", "heel")


@builder
def millimetres_from_the_toe_unsaid() -> Export:
    return placed(
        "millimetres from the toe, unsaid", "Left position (mm)", "Right position (mm)", "mm", "toe"
    )


@builder
def centimetres_from_the_heel() -> Export:
    return placed("centimetres from the heel", "Left from heel (cm)", "Right from heel (cm)", "cm", "heel")


@builder
def fraction_from_the_heel() -> Export:
    return placed(
        "fractions from the heel", "Left from heel (0-1)", "Right from heel (0-1)", "fraction", "heel"
    )


@builder
def toe_to_heel_words() -> Export:
    return placed("toe to heel in the header", "Left toe-to-heel %", "Right toe-to-heel %", "%", "toe")


@builder
def german_from_the_toe() -> Export:
    return placed(
        "German, from the toe", "Position links von Zehe (%)", "Position rechts von Zehe (%)", "%", "toe"
    )


@builder
def unit_unsaid_millimetres() -> Export:
    return placed("millimetres from the heel, unit unsaid", "Left from heel", "Right from heel", "mm", "heel")


@builder
def whole_body_beside_feet() -> Export:
    columns = plain(
        ("Left (N)", "Right (N)", "Left from heel (%)", "Right from heel (%)"), "Swing", "Time (s)"
    )
    middle = [round(float(v), 2) for v in 180 * (joined("left_share") - 0.5)]
    columns += [
        Column("CoP X (mm)", middle, "body x mm"),
        Column("CoP Y (mm)", [12.0] * len(middle), "body y mm"),
    ]
    return simple("the whole body's centre of pressure beside the feet", columns)


@builder
def whole_body_only() -> Export:
    middle = [round(float(v), 2) for v in 180 * (joined("left_share") - 0.5)]
    both = [round(float(v), 2) for v in joined("left_n") + joined("right_n")]
    columns = [swing_column("Swing"), clock("Time (s)"), Column("Fz (N)", both, "total N")]
    columns += [
        Column("CoP X (mm)", middle, "body x mm"),
        Column("CoP Y (mm)", [12.0] * len(middle), "body y mm"),
    ]
    return simple("one plate's force and centre of pressure", columns, known=())
