"""Watching the inbox: what has come to rest there is handed on to be loaded.

A folder or file that is still being copied changes its size or its time; it is left until it has been the
same for a while. What a load leaves in place (it can't be read) is not tried again before it changes.
"""

import os
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from ingest.deliveries import SHEET, passed_over, plate_like
from warehouse import events
from warehouse.home import Home

POLL_S = 0.25
STILL_S = 1.0
PATIENCE_S = 60.0  # for a folder of samples whose session.toml has not come yet

State = frozenset[tuple[str, int, int]]  # every file's name, size and time


class Inbox:
    """What stands in the inbox, entry by entry, since when it has been still, and what was tried."""

    def __init__(self, home: Home, clock: Callable[[], float] = time.monotonic) -> None:
        self.home, self.clock = home, clock
        self._seen: dict[Path, tuple[State, float]] = {}
        self._tried: dict[Path, State] = {}

    def still(self) -> list[Path]:
        """Entries that have not changed for a while and were not tried as they are now."""
        now, found = self.clock(), {}
        for path in self._entries():
            state = _state(path)
            if not state:
                continue
            before = self._seen.get(path)
            since = before[1] if before is not None and before[0] == state else now
            found[path] = (state, since)
        self._seen = found
        return [
            path
            for path, (state, since) in sorted(found.items())
            if now - since >= _wait_s(state) and self._tried.get(path) != state
        ]

    def tried(self, paths: Sequence[Path]) -> None:
        """Remember how entries stood when they were handed on."""
        self._tried = {p: s for p, s in self._tried.items() if p in self._seen}
        self._tried |= {path: self._seen[path][0] for path in paths if path in self._seen}

    def _entries(self) -> list[Path]:
        try:
            return [path for path in sorted(self.home.inbox.iterdir()) if not passed_over(path.name)]
        except OSError:
            return []


def _state(path: Path) -> State:
    """Every file under an entry; one that vanishes meanwhile is left out."""
    files = [path]
    if path.is_dir():
        files = [Path(here) / name for here, _, names in os.walk(path) for name in names]
    found = []
    for file in files:
        try:
            facts = file.stat()
        except OSError:
            continue
        found.append((str(file), facts.st_size, facts.st_mtime_ns))
    return frozenset(found)


def _wait_s(state: State) -> float:
    """A folder of samples without its session.toml is given longer: it may be the file that comes last."""
    by_folder: dict[str, set[str]] = {}
    for file, _, _ in state:
        folder, name = os.path.split(file)
        by_folder.setdefault(folder, set()).add(name)
    lacking = any(SHEET not in names and any(map(plate_like, names)) for names in by_folder.values())
    return PATIENCE_S if lacking else STILL_S


def watch(home: Home, take: Callable[[list[Path]], object], ended: threading.Event) -> None:
    """Hand on what comes to rest in the inbox until `ended` is set.

    An error is written to the event log and ends nothing: whatever one delivery does, the next is loaded.
    """
    inbox = Inbox(home)
    while not ended.wait(POLL_S):
        try:
            ready = inbox.still()
            if ready:
                inbox.tried(ready)
                take(ready)
        except Exception as error:  # noqa: BLE001 - told above
            events.write(home, "loader", error=" ".join(str(error).split()) or type(error).__name__)
