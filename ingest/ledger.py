"""filed/ledger.jsonl: what came, in which order, by which settings; and what a commit still leaves to do.

A ledger line follows its commit. Between the two a pending file says what is left to do, so that the next
load can finish it after a crash at any moment.
"""

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from warehouse import recipes
from warehouse.errors import UnderfootError
from warehouse.home import Home, sync, write_synced
from warehouse.store import Writer

DROPPED = "dropped"  # the outcome of a refused delivery that nobody wants any more
NOT_IN = (DROPPED, "refused")  # outcomes of what is not in the warehouse
PENDING = "pending-*.json"


def keep_settings(home: Home, data: bytes) -> None:
    """Keep the academy.toml in force under its version, for replaying the ledger."""
    target = home.filed / "settings" / f"{hashlib.sha256(data).hexdigest()[:16]}.toml"
    if not target.exists():
        target.parent.mkdir(parents=True, exist_ok=True)
        write_synced(target, data)


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
    """The ledger, only ever appended to."""

    def __init__(self, home: Home, writer: Writer) -> None:
        self.home = home
        _cut_torn_line(home.ledger)
        self.written, self.refused = 0, set[str]()  # highest sequence; contents whose refusal is written
        self.ruled_out: dict[str, list[dict[str, Any]]] = {}  # content → the notes of it that were stopped
        for entry in entries(home):
            self._know(entry)
        highest = writer.sql("SELECT coalesce(max(sequence), 0) FROM academy.delivery").item()
        self.sequence = max(int(highest), self.written)

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
        self._know(entry)

    def _know(self, entry: Mapping[str, Any]) -> None:
        self.written = max(self.written, int(entry["sequence"]))
        if entry["outcome"] == "refused":
            self.refused.add(entry["content"])
        elif entry["outcome"] == DROPPED:
            self.refused.discard(entry["content"])
        else:
            self.ruled_out[entry["content"]] = entry.get("ruled_out", [])


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


def now() -> datetime:
    """The present moment, UTC, naive as all times of the warehouse are."""
    return datetime.now(UTC).replace(tzinfo=None)


def mark_pending(
    home: Home,
    entry: Mapping[str, Any],
    *,
    trace: Path | None = None,
    old_trace: Path | None = None,
    again: Iterable[str] = (),
    moves: Iterable[tuple[Path, Path]] = (),
) -> Path:
    """Say, flushed to disk, what a commit that is about to happen still needs done after it.

    `trace` takes the place of `old_trace`; `again` names sessions to be read again from their filed bytes;
    `moves` are traces whose season changed.
    """

    def inside(path: Path | None) -> str | None:
        return None if path is None else path.relative_to(home.path).as_posix()

    path = home.filed / f"pending-{entry['sequence']:09d}.json"
    more = {
        "entry": dict(entry),
        "trace": inside(trace),
        "old_trace": inside(old_trace),
        "again": list(again),
        "moves": [[inside(a), inside(b)] for a, b in moves],
    }
    path.write_text(json.dumps(more, ensure_ascii=False), encoding="utf-8")
    sync(path)
    return path


def new_trace(trace: Path, fingerprint: str) -> Path:
    """Name a trace is written under until its session is committed."""
    return trace.with_name(f"{trace.name}.{fingerprint[:16]}.new")


def place_trace(trace: Path | None, old: Path | None, fingerprint: str) -> None:
    """After a commit: give the new trace its own name and remove the earlier version's."""
    if trace is not None and new_trace(trace, fingerprint).exists():
        new_trace(trace, fingerprint).replace(trace)
    if old is not None and old != trace:
        old.unlink(missing_ok=True)


def move_traces(moves: Iterable[tuple[Path, Path]]) -> None:
    """Put traces under their session's new season; those already moved are passed over."""
    for source, target in moves:
        if source.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            source.replace(target)


def finish(home: Home, pending: Path, ledger: Ledger, read_again: Callable[[str], None]) -> None:
    """After a commit: place traces, read again what must be, write the ledger line, forget the file."""
    more = json.loads(pending.read_text(encoding="utf-8"))
    entry = more["entry"]
    trace, old = (None if more[key] is None else home.path / more[key] for key in ("trace", "old_trace"))
    place_trace(trace, old, entry["content"])
    move_traces((home.path / source, home.path / target) for source, target in more["moves"])
    if entry["kind"] == "roster" and entry["name"] == home.settings_file.name:
        settings = home.filed / entry["content"] / home.settings_file.name
        write_synced(home.settings_file, settings.read_text(encoding="utf-8-sig"))
    if entry["kind"] == "roster" and entry["name"] == recipes.FILE:
        recipe = recipes.read_recipe((home.filed / entry["content"] / recipes.FILE).read_bytes())
        with suppress(UnderfootError):  # another one was written there by hand since a crash, and counts
            data = recipes.with_recipe(home.settings_file.read_bytes(), *recipe)
            write_synced(home.settings_file, data)
    for session in more["again"]:
        read_again(session)
    if entry["sequence"] > ledger.written:
        ledger.append(entry)
    pending.unlink()


def drop(home: Home, pending: Path) -> None:
    """A commit that never happened: forget its trace and its pending file."""
    with suppress(ValueError, KeyError, TypeError):
        more = json.loads(pending.read_text(encoding="utf-8"))
        if more["trace"] is not None:
            new_trace(home.path / more["trace"], more["entry"]["content"]).unlink(missing_ok=True)
    pending.unlink(missing_ok=True)
