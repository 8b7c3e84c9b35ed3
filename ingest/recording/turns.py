"""One person's turns cut out of a recording of several: the file as it came, without the others' samples.

A C3D file has one clock without gaps, so each turn becomes a file of its own.
"""

import csv
import io
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pyarrow.parquet as pq

from ingest.cells import SPREADSHEETS, read_pages
from ingest.formats.c3d_file import frames_of, open_c3d
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
    def of(cls, first: int, cut: SampleFile, only: Collection[int]) -> "Lines":
        """Those of the swings of these numbers, and of what is between two of them without another's."""
        number = cut.columns["swing_no"]
        spans = {no: cut.lines[number == no] for no in only if no in cut.found}
        turns = turns_of(sorted(spans), sorted(cut.found))
        lines = tuple((int(spans[a].min()), int(spans[b].max())) for a, b in turns)
        return cls(first, lines)

    def keeps(self, line: int) -> bool:
        """Whether a line is kept."""
        return line < self.first or any(a <= line <= b for a, b in self.turns)


def turns_of_c3d(path: Path, lines: Lines) -> dict[str, bytes]:
    """A C3D file of each turn, by its name; lines count the samples from 1."""
    recording = open_c3d(path)
    each = round(recording.analog_rate_hz / recording.point_rate_hz)
    return {
        f"{path.stem}-{no:02d}.c3d": frames_of(path, (low - 1) // each, (high - 1) // each + 1)
        for no, (low, high) in enumerate(lines.turns, start=1)
    }


def turns_of_grid(path: Path, lines: Lines) -> dict[str, bytes]:
    """A grid's file with those frames alone, by its name; lines count the frames from 1."""
    out = io.BytesIO()
    if path.suffix.lower() == ".parquet":
        frames = pq.read_table(path)
        pq.write_table(frames.filter(_kept(lines, 1, frames.num_rows)), out)
        return {path.name: out.getvalue()}
    with np.load(path, allow_pickle=False) as archive:
        kept = np.array(_kept(lines, 1, len(archive["t_s"])))
        arrays = {name: archive[name] for name in archive.files}
    np.savez_compressed(out, **{n: a[kept] if a.shape[:1] == kept.shape else a for n, a in arrays.items()})
    return {path.name: out.getvalue()}


def _kept(lines: Lines, first: int, n: int) -> list[bool]:
    return [lines.keeps(line) for line in range(first, first + n)]


def turns_of_table(data: bytes, name: str, lines: Lines, layout: Layout | None) -> dict[str, bytes]:
    """A table with those lines alone, by its name; a spreadsheet's sheet becomes a CSV file."""
    if name.lower().endswith(".parquet"):
        frame = pl.read_parquet(io.BytesIO(data))
        kept = frame.filter(pl.Series(_kept(lines, 2, len(frame))))
        out = io.BytesIO()
        kept.write_parquet(out)
        return {name: out.getvalue()}
    if name.lower().endswith(SPREADSHEETS):
        pages = read_pages(data, name).pages
        sheet = next((p for p in pages if layout is not None and p.name == layout.sheet), pages[0])
        return {f"{name.rpartition('.')[0]}.csv": _csv(sheet.rows, lines)}
    encoding = "utf-16" if data.startswith(_MARKS) else "latin-1"  # which keeps every byte as it is
    text = data.decode(encoding)
    kept_text = "".join(one for no, one in enumerate(_LINE.findall(text), start=1) if lines.keeps(no))
    return {name: kept_text.encode(encoding)}


def _csv(rows: Sequence[Sequence[str]], lines: Lines) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows(row for line, row in enumerate(rows, start=1) if lines.keeps(line))
    return out.getvalue().encode()
