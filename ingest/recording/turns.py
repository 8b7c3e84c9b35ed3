"""One person's turns cut out of a recording of several: the file as it came, without the others' samples."""

import csv
import io
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import polars as pl

from ingest.formats.cells import SPREADSHEETS, read_pages
from ingest.plate_rows import SampleFile
from ingest.recording.shares import turns_of
from warehouse.devices import Layout

_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+\Z")
_MARKS = (b"\xff\xfe", b"\xfe\xff")  # of UTF-16


@dataclass(frozen=True)
class Lines:
    """Which lines of a file are kept, from 1: those before its `first` sample, and the turns."""

    first: int
    turns: tuple[tuple[int, int], ...]

    @classmethod
    def of(cls, uncut: SampleFile, cut: SampleFile, only: Collection[int]) -> "Lines":
        """Those of the swings of these numbers, and of what is between two of them without another's."""
        number = cut.columns["swing_no"]
        spans = {no: cut.lines[number == no] for no in only if no in cut.found}
        turns = turns_of(sorted(spans), sorted(cut.found))
        lines = tuple((int(spans[a].min()), int(spans[b].max())) for a, b in turns)
        return cls(int(uncut.lines.min()), lines)

    def keeps(self, line: int) -> bool:
        """Whether a line is kept."""
        return line < self.first or any(a <= line <= b for a, b in self.turns)


def cut_out(data: bytes, name: str, lines: Lines, layout: Layout | None) -> tuple[str, bytes]:
    """The file's name and content with those lines alone; a spreadsheet's sheet becomes a CSV file."""
    if name.lower().endswith(".parquet"):
        frame = pl.read_parquet(io.BytesIO(data))
        kept = frame.filter(pl.Series([lines.keeps(line) for line in range(2, len(frame) + 2)]))
        out = io.BytesIO()
        kept.write_parquet(out)
        return name, out.getvalue()
    if name.lower().endswith(SPREADSHEETS):
        pages = read_pages(data, name).pages
        sheet = next((p for p in pages if layout is not None and p.name == layout.sheet), pages[0])
        return f"{name.rpartition('.')[0]}.csv", _csv(sheet.rows, lines)
    encoding = "utf-16" if data.startswith(_MARKS) else "latin-1"  # which keeps every byte as it is
    text = data.decode(encoding)
    kept_text = "".join(one for no, one in enumerate(_LINE.findall(text), start=1) if lines.keeps(no))
    return name, kept_text.encode(encoding)


def _csv(rows: Sequence[Sequence[str]], lines: Lines) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows(row for line, row in enumerate(rows, start=1) if lines.keeps(line))
    return out.getvalue().encode()
