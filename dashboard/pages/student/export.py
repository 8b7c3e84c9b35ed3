"""Everything kept about one student as a zip in open formats, with a page in it that explains each file."""

import json
import zipfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import polars as pl

from dashboard import document, handouts
from dashboard.downloads import csv_text
from dashboard.text.catalogue import _, mark
from warehouse import access_log, family
from warehouse.access import Reader, open_reader
from warehouse.errors import AccessError, CallError
from warehouse.filed import FILM_FOLDER
from warehouse.home import Home
from warehouse.reach import check_student, head_coach
from warehouse.store import open_snapshot
from warehouse.tables import table_names, table_sql
from warehouse.traces import SessionTrace, read_trace, trace_path

# How a table is cut to one student ($1), by the first of these columns that it has.
_OWN = {
    "student": "SELECT * FROM {name} WHERE student = $1",
    "person": "SELECT * FROM {name} WHERE person = $1",
    "session": "SELECT * FROM {name} WHERE session IN (SELECT session FROM session WHERE student = $1)",
    "signal": "SELECT * FROM {name} WHERE signal IN (SELECT signal FROM signal WHERE student = $1)",
}
_DELIVERED = (
    "SELECT DISTINCT delivery, session FROM delivery "
    "WHERE session IN (SELECT session FROM session WHERE student = ?)"
)


@dataclass(frozen=True)
class Entry:
    """A line of the page that explains the files: a file or folder, what it holds, and how much of it."""

    name: str
    holds: str
    count: int


def write_export(home: Home, student: str, target: Path | None = None) -> Path:
    """Write everything about a student, as a head coach may see it; returns the zip.

    Raises
        CallError: there is no such student, the roster has no head coach, or nothing is published.
    """
    with closing(open_snapshot(home)) as snapshot:
        check_student(snapshot, student)
        head = head_coach(snapshot, home.settings().today)
        if head is None:
            raise CallError(_("The roster has no head coach, who alone may hand out a student's data."))
        reader = open_reader(home, head, snapshot=snapshot)
        file = handouts.place(home, target, f"export-{student}.zip")
        return export(reader, home, student, file)


def export(reader: Reader, home: Home, student: str, target: Path) -> Path:
    """As `write_export`, by whoever is looking, as they may today; the log says that they did.

    Raises
        AccessError: the viewer is no head coach (any more), or there is no such student.
    """
    reader = reader.anew()
    if reader.viewer.role != "head_coach":
        reader.refused("Export")
        raise AccessError(_("Only a head coach may hand out everything that is kept about a student."))
    reader.opened(mark("Export"), student)
    reader = reader.all_kept()
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(target.name + ".part")
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
        entries = [
            *_tables(archive, reader, student),
            *_samples(archive, reader, home, student),
            *_delivered(archive, reader, home, student),
            *_sent(archive, home, student),
            *_looked_at(archive, home, student),
        ]
        name = reader.sql("SELECT display_name FROM person WHERE person = ?", [student]).item()
        page = document.render(
            "pages/student/export.html",
            name=name,
            academy=reader.settings.name,
            day=reader.today,
            entries=entries,
        )
        archive.writestr("index.html", page)
    part.replace(target)
    return target


def _tables(archive: zipfile.ZipFile, reader: Reader, student: str) -> Iterator[Entry]:
    """Every table of the warehouse that has rows of the student, as CSV."""
    for full in table_names():
        name = full.split(".")[1]
        columns = reader.sql(f"SELECT * FROM {name} LIMIT 0").columns
        own = next((cut for column, cut in _OWN.items() if column in columns), None)
        rows = reader.sql(own.format(name=name), [student]) if own else pl.DataFrame()
        if len(rows):
            archive.writestr(f"tables/{name}.csv", csv_text(rows))
            first = table_sql(full).splitlines()[0].removeprefix("--").strip()
            yield Entry(f"tables/{name}.csv", first, len(rows))


def _samples(archive: zipfile.ZipFile, reader: Reader, home: Home, student: str) -> Iterator[Entry]:
    """Every measured sample, a Parquet file a session."""
    rows = reader.sql("SELECT season, session FROM session WHERE student = ? AND has_plate", [student])
    count = 0
    for season, session in rows.iter_rows():
        path = trace_path(home, season, session)
        if path.is_file():
            with archive.open(f"samples/{session}.parquet", "w") as file:
                _frame(read_trace(path)).write_parquet(file)
            count += 1
    if count:
        yield Entry("samples/", _("Every sample of each session's swings, with its time in seconds."), count)


def _frame(trace: SessionTrace) -> pl.DataFrame:
    times = [trace.times(k) for k in range(len(trace.swing_no))]
    swings = np.repeat(trace.swing_no, np.diff(trace.offsets))
    return pl.DataFrame({"swing_no": swings, "t_s": np.concatenate(times), **trace.columns})


def _delivered(archive: zipfile.ZipFile, reader: Reader, home: Home, student: str) -> Iterator[Entry]:
    """What was delivered for the student's sessions, byte for byte, and the films kept."""
    rows = reader.sql(_DELIVERED, [student])
    originals = films = 0
    for delivery, session in rows.iter_rows():
        folder = home.filed / delivery
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            name = path.relative_to(folder).as_posix()
            if name.startswith(f"{FILM_FOLDER}/"):
                archive.write(path, f"films/{session}/{delivery[:8]}/{name.removeprefix(f'{FILM_FOLDER}/')}")
                films += path.suffix == ".mp4"
            else:
                archive.write(path, f"delivered/{session}/{delivery[:8]}/{name}")
                originals += 1
    if originals:
        yield Entry("delivered/", _("What came for each session, byte for byte."), originals)
    if films:
        yield Entry("films/", _("The films kept, cut to the feet, and where their marks went."), films)


def _sent(archive: zipfile.ZipFile, home: Home, student: str) -> Iterator[Entry]:
    """What the family sent from the progress page: films that wait, and what became of the others."""
    films = family.films(home, student)
    for film in films:
        archive.writestr(f"sent/{film.film}/sent.json", json.dumps(asdict(film), ensure_ascii=False))
        path = family.film_path(home, film)
        if path.is_file():
            archive.write(path, f"sent/{film.film}/{film.file}")
    if films:
        yield Entry(
            "sent/", _("Films that the family sent for the coach, and what became of them."), len(films)
        )


def _looked_at(archive: zipfile.ZipFile, home: Home, student: str) -> Iterator[Entry]:
    """Who opened the student's pages."""
    lines = [
        json.dumps(line, ensure_ascii=False)
        for line in access_log.lines(home)
        if student in (line.get("student"), line.get("viewer"))
    ]
    if lines:
        archive.writestr("looked_at.jsonl", "\n".join(lines) + "\n")
        yield Entry("looked_at.jsonl", _("Who opened which page about the student, and when."), len(lines))
