"""Finding deliveries: session folders, roster files, loose notes and shots, and what has no place.

A delivery's content hash covers its relative file names and bytes, not the folder it came in.
"""

import hashlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from fnmatch import fnmatch
from pathlib import Path

from ingest.readers.roster import ROSTERS
from ingest.readers.session import glance
from warehouse.errors import CallError
from warehouse.home import Home

SHEET = "session.toml"
WHY = "why.json"
SETTINGS = "academy.toml"
ROSTER_ORDER = (SETTINGS, *ROSTERS)
SESSION, ROSTER, NOTES, SHOTS, STRAY = "session", "roster", "notes", "shots", "stray"
_KIND_ORDER = {ROSTER: 0, SESSION: 1, NOTES: 2, SHOTS: 3, STRAY: 4}
_READ = (".toml", ".csv", ".parquet", ".jsonl", ".json")
_PLATE_LIKE = ("plate*.csv", "plate*.parquet", "plate*.c3d", "frames.*", "clip.*", "events.csv")
_PASSED_OVER = (".*", "*.part", "*.tmp", "*.new", "~*", "Thumbs.db", "desktop.ini")


@dataclass(frozen=True)
class Contents:
    """A delivery's bytes: files that are read are held, others (films) are only hashed."""

    held: dict[str, bytes]
    fingerprint: str
    n_bytes: int


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

    @property
    def base(self) -> Path:
        """The folder that the file names are relative to."""
        return self.path if self.kind == SESSION else self.path.parent

    def read(self) -> Contents:
        """Read every file once and take the content hash.

        Raises
            OSError: a file can't be read.
        """
        digest, held, total = hashlib.sha256(), {}, 0
        for name in sorted(self.files):
            path = self.base / name
            if name.lower().endswith(_READ):
                held[name] = path.read_bytes()
                size, content = len(held[name]), hashlib.sha256(held[name]).digest()
            else:
                with path.open("rb") as file:
                    content = hashlib.file_digest(file, "sha256").digest()
                size = path.stat().st_size
            digest.update(f"{len(name)}:{name}:{size}:".encode())
            digest.update(content)
            total += size
        return Contents(held, digest.hexdigest(), total)


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
    return sorted(found.values(), key=_order)


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
    for folder, subfolders, files in os.walk(path):
        here = Path(folder)
        subfolders[:] = sorted(name for name in subfolders if not _passed_over(name))
        if (here / SHEET).is_file():
            if here != path:
                yield _session(here)
            continue
        names = sorted(name for name in files if name != WHY and not _passed_over(name))
        if any(fnmatch(name.lower(), pattern) for name in names for pattern in _PLATE_LIKE):
            orphan = tuple(name for name in names if _kind(name) == STRAY)
            yield Delivery(SESSION, here, here.name, orphan)
            names = [name for name in names if name not in orphan]
        yield from (_single(here / name) for name in names)


def _passed_over(name: str) -> bool:
    return any(fnmatch(name, pattern) for pattern in _PASSED_OVER)


def _session(folder: Path) -> Delivery:
    """A session folder with everything in it, less folders that are sessions of their own."""
    files: list[str] = []
    for here, subfolders, names in os.walk(folder):
        inner = Path(here)
        subfolders[:] = [n for n in subfolders if not _passed_over(n) and not (inner / n / SHEET).is_file()]
        files += [
            (inner / n).relative_to(folder).as_posix() for n in names if n != WHY and not _passed_over(n)
        ]
    session, started_at = glance((folder / SHEET).read_bytes())
    return Delivery(SESSION, folder, folder.name, tuple(sorted(files)), session, started_at)


def _single(path: Path) -> Delivery:
    return Delivery(_kind(path.name), path, path.name, (path.name,))


def _kind(name: str) -> str:
    """What a loose file is, by its name."""
    if name in ROSTER_ORDER:
        return ROSTER
    if fnmatch(name, "notes*.csv") or fnmatch(name, "notes*.jsonl"):
        return NOTES
    return SHOTS if fnmatch(name, "shots*.csv") else STRAY


def named(delivery: Delivery) -> str:
    """The name a delivery came under, also when it waited in refused/ under that name and its hash."""
    if delivery.waiting and delivery.kind == SESSION:
        return delivery.base.name.rsplit("-", 1)[0]
    return delivery.name


def filed_delivery(home: Home, content: str, kind: str, session: str | None) -> Delivery:
    """An accepted delivery as it stands in filed/."""
    folder = home.filed / content
    files = tuple(sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()))
    path = folder if kind == SESSION or not files else folder / files[0]
    return Delivery(kind, path, path.name, files, session)


def placed(home: Home, found: Iterable[Delivery]) -> list[Delivery]:
    """Deliveries, those under refused/ marked as waiting there."""
    refused = home.refused.resolve()
    return [replace(d, waiting=d.base.is_relative_to(refused)) for d in found]
