"""Putting a delivery into the inbox, and who delivered it: a small file beside it, which the loader reads.

What lies in the inbox without one was put there by whoever keeps the home. No delivery can bring such a file
with it: its name is hidden, and hidden names are refused by the pages and passed over by the loader.
"""

import json
import secrets
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePath
from typing import Any

from warehouse.home import Home, sync

MARK = ".delivered.json"


@dataclass(frozen=True)
class Deliverer:
    """Who delivered something, when (UTC, ISO), and which deliveries, by their content hash, it corrects.

    `link`: the name of the link they came by, and then `person` is the student whose page it opens.
    """

    person: str
    at: str
    corrects: tuple[str, ...] = ()
    link: str | None = None

    @classmethod
    def now(cls, person: str, corrects: Sequence[str] = (), link: str | None = None) -> "Deliverer":
        """A person who delivers at this moment."""
        return cls(person, datetime.now(UTC).isoformat(timespec="seconds"), tuple(corrects), link)

    @classmethod
    def of(cls, written: Mapping[str, Any]) -> "Deliverer":
        """The deliverer of a mark as it was written."""
        corrects, link = tuple(map(str, written["corrects"])), written.get("link")
        return cls(str(written["person"]), str(written["at"]), corrects, None if link is None else str(link))

    def written(self) -> dict[str, Any]:
        """What a mark says."""
        return asdict(self)


def read_mark(folder: Path) -> Deliverer | None:
    """Who delivered a folder of the inbox; None: nobody through the pages.

    Raises
        ValueError, KeyError, TypeError: there is a mark, but it can't be read.
    """
    try:
        return Deliverer.of(json.loads((folder / MARK).read_text(encoding="utf-8")))
    except FileNotFoundError:
        return None


def mark_text(deliverer: Deliverer) -> str:
    """The text of a mark."""
    return json.dumps(deliverer.written()) + "\n"


def put(home: Home, named: Mapping[PurePath, bytes], by: Deliverer | None = None) -> Path:
    """Put files (path → content) into the inbox as one delivery, flushed to disk; returns its folder.

    It is filled outside the inbox and moved in whole, so a loader at work never sees half a delivery.
    `by` None: from whoever keeps the home.
    """
    home.make_folders()
    stamp = f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}-{secrets.token_hex(3)}"
    arriving, kept = home.path / f".arriving-{stamp}", home.inbox / f"dropped-{stamp}"
    mark = {PurePath(MARK): mark_text(by).encode()} if by else {}
    try:
        _write(arriving, {**named, **mark})
        arriving.rename(kept)
    except OSError:
        shutil.rmtree(arriving, ignore_errors=True)  # half a delivery on a full disk helps nobody
        raise
    sync(home.inbox)
    return kept


def _write(folder: Path, named: Mapping[PurePath, bytes]) -> None:
    """Write files below a new folder, all of it flushed to disk."""
    folders = {folder}
    for name, data in named.items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        folders.update(p for p in target.parents if p.is_relative_to(folder))
        target.write_bytes(data)
        sync(target)
    for one in folders:
        sync(one)
