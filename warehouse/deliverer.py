"""Putting a delivery into the inbox, and who delivered it: a small file beside it, which the loader reads.

What lies in the inbox without one was put there by whoever keeps the home. No delivery can bring such a file
with it: its name is hidden, and hidden names are refused by the pages and passed over by the loader.
"""

import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePath
from typing import Any

from warehouse.home import Home, put_folder

MARK = ".delivered.json"
ARRIVING = ".arriving-{}"  # in the home: a delivery that is being put into the inbox


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

    Raises
        OSError: the disk did not take it.
    """
    home.make_folders()
    stamp = f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}-{secrets.token_hex(3)}"
    kept = home.inbox / f"dropped-{stamp}"
    mark = {PurePath(MARK): mark_text(by).encode()} if by else {}
    put_folder(kept, home.path / ARRIVING.format(stamp), {**named, **mark})
    return kept
