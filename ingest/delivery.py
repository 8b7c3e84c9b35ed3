"""Finding deliveries: session folders, roster files, loose notes and shots, and what has no place.

A delivery's content hash covers its relative file names and bytes, not the folder it came in.
"""

import hashlib
import json
import stat
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

from ingest.formats.format import RosterFormat, formats, is_in_memory, is_orphan, loose_kind
from ingest.refusals import refuse
from ingest.session_file import glance
from warehouse import filed, lessons, recipes, toml
from warehouse.deliverer import Deliverer, read_mark
from warehouse.errors import CallError
from warehouse.filed import WHY, Fingerprint
from warehouse.home import Home, walk
from warehouse.vocabulary import ARCHIVE_ENDINGS, MOST_DEEP, MOST_FILES

SHEET = "session.toml"
REFUSED = "refused"
SETTINGS = "academy.toml"
ROSTER_ORDER = (SETTINGS, recipes.FILE, *(roster.names[0] for roster in formats(RosterFormat)))
SESSION, ROSTER, NOTES, SHOTS, STRAY = "session", "roster", "notes", "shots", "stray"
ARCHIVE, CALENDAR = "archive", lessons.KIND
MOST_HELD_BYTES = 256 << 20  # of one table: 20 swings of 5 s at 2,000 Hz are some 20 MB
_KIND_ORDER = {ROSTER: 0, SESSION: 1, NOTES: 2, SHOTS: 3, CALENDAR: 4, STRAY: 5, ARCHIVE: 6}
_TOO_DEEP = f"has folders more than {MOST_DEEP} deep"
_TOO_MANY = f"holds more than {MOST_FILES:,} files"
_PASSED_OVER = (".*", "*.part", "*.tmp", "*.new", "~*", "Thumbs.db", "desktop.ini", "__MACOSX")


@dataclass(frozen=True)
class Contents:
    """A delivery's bytes: files that are read are held, others (films) are only hashed."""

    held: dict[str, bytes]
    fingerprint: str
    n_bytes: int
    oversize: str | None = None  # a file too large to be held

    def check_sizes(self) -> None:
        """Refuse a file that would not fit in memory with what is made of it.

        Raises
            Refused: a table is too large.
        """
        if self.oversize is not None:
            what = f"the file is larger than {MOST_HELD_BYTES >> 20} MB, more than one session can hold"
            raise refuse("too_large", what, "deliver it as several sessions or files", file=self.oversize)


@dataclass(frozen=True)
class Delivery:
    """One thing to load: a session's folder, or a single file."""

    kind: str
    path: Path
    name: str
    files: tuple[str, ...]
    session: str | None = None
    started_at: datetime | None = None
    waiting: bool = field(default=False, compare=False)  # comes from refused/, where it waits
    filed: bool = field(default=False, compare=False)  # comes from filed/, where it was taken once
    by: Deliverer | None = field(default=None, compare=False)  # who delivered it through the pages
    beyond: str | None = None  # what of the folder is more than is read, in words

    @property
    def base(self) -> Path:
        """The folder that the file names are relative to."""
        return self.path if self.kind == SESSION else self.path.parent

    def read(self) -> Contents:
        """Read every file once and take the content hash.

        Raises
            OSError: a file can't be read.
            Refused: the folder holds more than is read.
        """
        if self.beyond is not None:
            todo = "it stays where it is; deliver what belongs to one session as one plain folder"
            raise refuse("too_large", f"the folder {self.name} {self.beyond}", todo)
        found, held, oversize = Fingerprint(), {}, None
        gone = filed.films_not_kept(self.base) if self.filed else {}
        for name in sorted(self.files):
            path = self.base / name
            if name in gone:
                found.add(name, gone[name].size, gone[name].content)
                continue
            facts = path.stat()
            if not stat.S_ISREG(facts.st_mode):
                raise OSError(f"{name} is not a plain file")  # a pipe would be waited on for ever
            read = is_in_memory(name)
            if read and facts.st_size <= MOST_HELD_BYTES:
                held[name] = path.read_bytes()
                size, content = len(held[name]), hashlib.sha256(held[name]).digest()
            else:
                oversize = oversize or (name if read else None)
                hashed = filed.facts_of(path)
                size, content = hashed.size, hashed.content
            found.add(name, size, content)
        return Contents(held, found.text, found.n_bytes, oversize)


def find(paths: Iterable[Path]) -> list[Delivery]:
    """Every delivery under the paths, in loading order.

    Raises
        CallError: a path does not exist.
    """
    found: dict[Path, Delivery] = {}
    for path in paths:
        if not path.exists():
            raise CallError(f"There is nothing at {path}; name a delivery's folder or file.")
        for delivery in _under(path.resolve()):
            found.setdefault(delivery.path, delivery)
    return in_order(found.values())


def in_order(deliveries: Iterable[Delivery]) -> list[Delivery]:
    """Deliveries in loading order."""
    return sorted(deliveries, key=_order)


def _order(delivery: Delivery) -> tuple[int, int, str, str]:
    roster = ROSTER_ORDER.index(delivery.files[0]) if delivery.kind == ROSTER else 0
    started = delivery.started_at.isoformat() if delivery.started_at else ""
    return _KIND_ORDER[delivery.kind], roster, started, str(delivery.path)


def _under(path: Path) -> Iterator[Delivery]:
    if path.is_file():
        if path.name in (SHEET, WHY):
            yield from _under(path.parent) if path.name == SHEET else ()
        else:
            yield _single(path)
        return
    if (path / SHEET).is_file():
        yield _session(path)
    owned: set[Path] = set()  # a session's folder and those in it, whose files are the session's
    for here, subfolders, files in walk(path):
        subfolders[:] = sorted(name for name in subfolders if not passed_over(name))
        if (here / SHEET).is_file():
            if here != path:
                yield _session(here)
            owned.add(here)
            continue
        if here.parent in owned:
            owned.add(here)
            continue
        if len(here.relative_to(path).parts) > MOST_DEEP:
            yield Delivery(SESSION, here, here.name, (), beyond=_TOO_DEEP)
            continue
        if len(files) > MOST_FILES:
            yield Delivery(SESSION, here, here.name, (), beyond=_TOO_MANY)
            continue
        names = sorted(name for name in files if name != WHY and not passed_over(name))
        if any(map(is_orphan, names)):
            orphan = tuple(name for name in names if _kind(name) in (STRAY, ARCHIVE))
            yield Delivery(SESSION, here, here.name, orphan)
            names = [name for name in names if name not in orphan]
        yield from (_single(here / name) for name in names)


def passed_over(name: str) -> bool:
    """Hidden files, halves of a download, and what file managers leave behind."""
    return any(fnmatch(name, pattern) for pattern in _PASSED_OVER)


def _session(folder: Path) -> Delivery:
    """A session folder with everything in it, less folders that are sessions of their own."""
    files: list[str] = []
    for inner, subfolders, names in walk(folder):
        if len(files) + len(names) > MOST_FILES or len(inner.relative_to(folder).parts) > MOST_DEEP:
            beyond = _TOO_DEEP if len(files) + len(names) <= MOST_FILES else _TOO_MANY
            return Delivery(SESSION, folder, folder.name, (), beyond=beyond)
        subfolders[:] = [n for n in subfolders if not passed_over(n) and not (inner / n / SHEET).is_file()]
        files += [
            (inner / n).relative_to(folder).as_posix() for n in names if n != WHY and not passed_over(n)
        ]
    try:
        with (folder / SHEET).open("rb") as sheet:
            session, started_at = glance(sheet.read(toml.MOST_BYTES))
    except OSError:
        session, started_at = None, None  # it is refused when it is read, and stays where it is
    return Delivery(SESSION, folder, folder.name, tuple(sorted(files)), session, started_at)


def _single(path: Path) -> Delivery:
    return Delivery(_kind(path.name), path, path.name, (path.name,))


def _kind(name: str) -> str:
    """What a loose file is, by its name."""
    if name in (SETTINGS, recipes.FILE):
        return ROSTER
    if name.lower().endswith(ARCHIVE_ENDINGS):
        return ARCHIVE
    return loose_kind(name) or STRAY


def original_name(delivery: Delivery) -> str:
    """The name a delivery came under, also when it waited in refused/ under that name and its hash."""
    if delivery.waiting and delivery.kind == SESSION:
        return delivery.base.name.rsplit("-", 1)[0]
    return delivery.name


def filed_delivery(home: Home, content: str, kind: str, session: str | None) -> Delivery:
    """An accepted delivery as it is in filed/."""
    folder = home.filed / content
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    own = {name for name in there if not name.startswith(f"{filed.FILM_FOLDER}/")}
    files = tuple(sorted(own | filed.films_not_kept(folder).keys()))
    path = folder if kind == SESSION or not files else folder / files[0]
    return Delivery(kind, path, path.name, files, session, filed=True)


def placed(home: Home, found: Iterable[Delivery]) -> list[Delivery]:
    """Deliveries, those under refused/ marked as waiting there, each with who delivered it."""
    refused, inbox, mark = home.refused.resolve(), home.inbox.resolve(), cache(_deliverer)
    return [
        replace(d, waiting=d.base.is_relative_to(refused), by=_first_mark(d.base, (inbox, refused), mark))
        for d in found
    ]


def _first_mark(
    folder: Path, roots: Iterable[Path], mark: Callable[[Path, Path], Deliverer | None]
) -> Deliverer | None:
    """The mark of the outermost folder around a delivery: no delivery can write one there."""
    for root in roots:
        if folder != root and folder.is_relative_to(root):
            return mark(root, root / folder.relative_to(root).parts[0])
    return None


def _deliverer(root: Path, folder: Path) -> Deliverer | None:
    """Who delivered a folder, by its mark or, once it was refused, by its why.json.

    What says who it was but can't be read stands for somebody who may deliver nothing.
    """
    try:
        if not (folder / WHY).is_file() or root.name != REFUSED:
            return read_mark(folder)
        by = json.loads((folder / WHY).read_text(encoding="utf-8")).get("by")
        return None if by is None else Deliverer.of(by)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Deliverer("", "")
