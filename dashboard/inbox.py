"""Keep a dropped delivery: whole and flushed to disk in the inbox before any page says that it is kept.

The roster says who may look at what, so its files come from a head coach alone, also inside an archive; and
academy.toml, which says who may sign in, from nobody: it is put into the home's folder by hand.
"""

import gzip
import json
import struct
import tarfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path, PurePath, PurePosixPath
from typing import Any

from dashboard.text.catalogue import _
from warehouse import journal
from warehouse.access import Reader
from warehouse.deliverer import Deliverer, put
from warehouse.errors import AccessError, CallError
from warehouse.reach import Viewer
from warehouse.vocabulary import ARCHIVE_ENDINGS, MOST_DEEP, ROSTER_FILES, STAFF

SETTINGS = "academy.toml"
MOST_UNPACKED_BYTES = 4 << 30  # an archive that would unpack to more is refused
NAMED_IN_LOG = 100
AHEAD = timedelta(minutes=5)  # a phone's clock may run this much ahead of ours
_UNREADABLE = (
    zipfile.BadZipFile, tarfile.TarError, zlib.error, OSError, EOFError, NotImplementedError, RuntimeError,
    ValueError, struct.error, OverflowError, LookupError,
)  # fmt: skip


def in_reach(reader: Reader, *students: str) -> Reader:
    """The reader opened anew, which sees all of these students now.

    Raises
        AccessError: one of them is out of the viewer's reach, or the viewer may not look any more.
    """
    now = reader.anew()
    for student in students:
        if student not in now.students:
            raise AccessError(_("There is no student {code} that you may see.").format(code=student))
    return now


def as_head_coach(reader: Reader) -> Reader:
    """The reader of a head coach, opened anew.

    Raises
        AccessError: the viewer is no head coach (any more).
    """
    now = reader.anew()
    if now.viewer.role != "head_coach":
        raise AccessError(_("Only a head coach may do this; ask them."))
    return now


def deliver(reader: Reader, files: Sequence[tuple[str, bytes]], corrects: Sequence[str] = ()) -> Path:
    """Keep files (name or relative path, content) as one delivery in the inbox; returns its folder.

    The reader is opened anew: who has just lost the right to deliver can't. Who delivered it, and which
    deliveries it `corrects` (their content hashes), stays beside it for the loader, which knows whose
    sessions and notes they may deliver; and it is a line of events.jsonl.

    Raises
        AccessError: the viewer may not deliver.
        CallError: no file, a name that is no file name, the same name twice, a file of the roster from
            anyone but a head coach, academy.toml from anyone, or an archive that can't be read.
        OSError: the disk did not take it.
    """
    now = reader.anew()
    by = now.viewer
    if by.role not in STAFF:
        raise AccessError(_("Only the academy's coaches deliver here; ask the head coach."))
    if not files:
        raise CallError(_("There is no file to keep; choose the files of one delivery first."))
    found = named(files)
    rosters = _admit(found, by)
    kept = put(now.home, found, Deliverer.now(by.person, corrects))
    names = sorted(map(str, found))
    journal.record(
        now.home, "dropped", viewer=by.person, role=by.role, delivery=kept.name, n_files=len(names),
        files=names[:NAMED_IN_LOG], roster=rosters, corrects=list(corrects),
    )  # fmt: skip
    return kept


def named(files: Sequence[tuple[str, bytes]]) -> dict[PurePath, bytes]:
    """Files by the names that they are delivered under.

    Raises
        CallError: a name that is no file name, or the same name twice.
    """
    found: dict[PurePath, bytes] = {safe_name(name): data for name, data in files}
    if len(found) != len(files):
        raise CallError(_("Two of these files have the same name; drop them one after the other."))
    return found


def lies_ahead(at: datetime) -> bool:
    """Whether a time is in the future, by more than a clock may be off."""
    return at > datetime.now(UTC) + AHEAD


def this_minute(reader: Reader) -> datetime:
    """Now, in the academy's time zone, to the minute."""
    return datetime.now(reader.settings.zone).replace(second=0, microsecond=0)


def notes_text(lines: Sequence[Mapping[str, Any]]) -> bytes:
    """What a notes.jsonl of these lines holds."""
    return "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines).encode()


def deliver_notes(reader: Reader, lines: Sequence[Mapping[str, Any]]) -> Path:
    """Deliver lines of notes as one notes.jsonl; returns its folder.

    Raises
        AccessError, OSError: as of `deliver`.
    """
    return deliver(reader, [("notes.jsonl", notes_text(lines))])


def report(reader: Reader, line: Mapping[str, Any]) -> Path:
    """Deliver a family's report as one notes.jsonl of one line; returns its folder.

    `reader` was opened `to_write` it just now. The loader checks the line once more by `ingest.rights`.

    Raises
        OSError: the disk did not take it.
    """
    by = reader.viewer
    notes: dict[PurePath, bytes] = {PurePath("notes.jsonl"): notes_text([line])}
    kept = put(reader.home, notes, Deliverer.now(by.person, link=by.link))
    journal.record(
        reader.home, f"{line['kind']}_reported", viewer=by.person, role=by.role, link=by.link,
        student=line["student"], delivery=kept.name,
    )  # fmt: skip
    return kept


def is_roster(name: str) -> bool:
    """Whether a file, by its name, is one of the roster or academy.toml; letter case does not matter."""
    return name.replace("\\", "/").rsplit("/", 1)[-1].strip().lower() in ROSTER_FILES


def _admit(named: Mapping[PurePath, bytes], by: Viewer) -> list[str]:
    """The roster's files among those dropped, also inside archives."""
    heads, found = by.role == "head_coach", []
    for path, data in named.items():
        inside = [(str(path), str(path))]
        if _is_archive(path.name):
            inside += [(name, f"{name} in {path}") for name in _inside(path.name, data)]
        for name, shown in inside:
            if name != str(path) and _is_archive(name) and not heads:
                raise CallError(
                    _(
                        "{file} is an archive inside an archive, which is not opened; pack the folders "
                        "themselves and drop that."
                    ).format(file=shown)
                )
            if not is_roster(name):
                continue
            if name.lower().endswith(SETTINGS):
                raise CallError(
                    _(
                        "{file} is not accepted through this page, since it says who may sign in; put it "
                        "into the home's folder yourself."
                    ).format(file=shown)
                )
            if not heads:
                raise CallError(
                    _(
                        "{file} is a roster file, which only a head coach delivers; hand it to them, and "
                        "drop the rest without it."
                    ).format(file=shown)
                )
            found.append(shown)
    return sorted(found)


def _is_archive(name: str) -> bool:
    return name.strip().lower().endswith(ARCHIVE_ENDINGS)


def _inside(name: str, data: bytes) -> list[str]:
    """The names in an archive, read as the loader reads them; nothing is unpacked to disk."""
    try:
        return list(_members(name.lower(), data))
    except _UNREADABLE as error:
        raise CallError(
            _(
                "{file} can't be read: it is damaged, cut short or too large; pack it again as a plain zip "
                "or tar and drop it whole."
            ).format(file=name)
        ) from error


def _members(name: str, data: bytes) -> Iterator[str]:
    if name.endswith(".zip"):
        with zipfile.ZipFile(BytesIO(data)) as archive:
            yield from archive.namelist()
        return
    raw: Any = BytesIO(data)
    counted = _Counted(raw if name.endswith(".tar") else gzip.GzipFile(fileobj=raw))
    with tarfile.open(fileobj=counted, mode="r|", errorlevel=2) as packed:  # type: ignore[call-overload]
        for member in packed:
            yield member.name


class _Counted:
    """A stream that ends in an error once it has given more than an archive may hold."""

    def __init__(self, stream: Any) -> None:
        self.stream, self.given = stream, 0

    def read(self, size: int = -1) -> bytes:
        data: bytes = self.stream.read(size)
        self.given += len(data)
        if self.given > MOST_UNPACKED_BYTES:
            raise OSError("too large")
        return data


def safe_name(name: str) -> PurePosixPath:
    """A relative path that stays inside its folder, from what a browser calls a file.

    Raises
        CallError: it climbs out, is hidden, is empty, or lies in too many folders.
    """
    parts = [part.strip() for part in name.replace("\\", "/").split("/")]
    if (
        len(parts) > MOST_DEEP
        or not all(parts)
        or any(part.startswith(".") or ":" in part or "\0" in part for part in parts)
    ):
        raise CallError(
            _("“{name}” is not a file name a delivery may have; rename it and drop it again.").format(
                name=name
            )
        )
    return PurePosixPath(*parts)
