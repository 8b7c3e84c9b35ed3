"""filed/ledger.jsonl: what came, in which order, by which settings. Only ever appended to."""

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from warehouse.errors import UnderfootError
from warehouse.home import Home, sync


def keep_settings(home: Home, data: bytes) -> None:
    """Keep the academy.toml in force under its version, for replaying the ledger."""
    target = home.filed / "settings" / f"{hashlib.sha256(data).hexdigest()[:16]}.toml"
    if not target.exists():
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_suffix(".part")
        part.write_bytes(data)
        sync(part)
        part.replace(target)


def settings_of(home: Home, version: str) -> bytes:
    """The academy.toml that was in force under a version.

    Raises
        UnderfootError: it was not kept.
    """
    path = home.filed / "settings" / f"{version}.toml"
    try:
        return path.read_bytes()
    except OSError as error:
        raise UnderfootError(
            f"The settings {path} named by the ledger are missing; bring filed/ back from a backup."
        ) from error


class Ledger:
    """filed/ledger.jsonl: what came, in which order. Only ever appended to."""

    def __init__(self, home: Home, highest: int) -> None:
        self.home = home
        _cut_torn_line(home.ledger)
        self.written, self.refused = 0, set[str]()  # highest sequence; contents whose refusal is written
        for entry in entries(home):
            self.written = max(self.written, int(entry["sequence"]))
            if entry["outcome"] == "refused":
                self.refused.add(entry["content"])
        self.sequence = max(highest, self.written)

    def next(self) -> int:
        """The next sequence number."""
        self.sequence += 1
        return self.sequence

    def append(self, entry: Mapping[str, Any]) -> None:
        """Add one line and flush it."""
        with self.home.ledger.open("a", encoding="utf-8") as file:
            file.write(json.dumps(entry, ensure_ascii=False) + "\n")
            file.flush()
            os.fsync(file.fileno())
        self.written = int(entry["sequence"])
        if entry["outcome"] == "refused":
            self.refused.add(entry["content"])


def _cut_torn_line(ledger: Path) -> None:
    """A crash while writing leaves a line without its end; its pending file writes it again."""
    if not ledger.exists():
        return
    with ledger.open("rb+") as file:
        data = file.read()
        if data and not data.endswith(b"\n"):
            file.truncate(data.rfind(b"\n") + 1)


def entries(home: Home) -> Iterator[dict[str, Any]]:
    """The ledger's lines in order; a last line torn by a crash is passed over."""
    try:
        with home.ledger.open(encoding="utf-8") as file:
            for line in file:
                with suppress(ValueError):
                    yield json.loads(line)
    except FileNotFoundError:
        return
