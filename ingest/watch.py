"""Watching the inbox: what has come to rest there is handed on to be loaded.

A folder or file that is still being copied changes its size or its time; it is left until it has been the
same for a while. What a load leaves in place (it can't be read) is not tried again before it changes. Where
a load failed, its entries are tried one by one, so that a bad one holds no other, with pauses that grow.
"""

import os
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from ingest.delivery import SHEET, passed_over
from ingest.formats.format import is_orphan
from warehouse import journal
from warehouse.deliverer import MARK
from warehouse.home import Home, walk

POLL_S = 0.25
CHORES_S = 10.0
STILL_S = 1.0
PATIENCE_S = 60.0  # for a folder of samples whose session.toml has not come yet
PAUSE_S = 5.0  # after an entry's load failed; twice as long after each further time
LONGEST_PAUSE_S = 600.0

State = frozenset[tuple[str, int, int]]  # every file's name, size and time


@dataclass(frozen=True)
class _Failed:
    """An entry whose load failed: its state, how often it failed by itself, when it is due again."""

    state: State
    times: int
    due: float


class Inbox:
    """The inbox, entry by entry: since when it has been still, what was tried, what failed."""

    def __init__(self, home: Home, clock: Callable[[], float] = time.monotonic) -> None:
        self.home, self.clock = home, clock
        self._seen: dict[Path, tuple[State, float]] = {}
        self._tried: dict[Path, State] = {}
        self._failed: dict[Path, _Failed] = {}

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
        """Remember the state of entries when they were handed on."""
        self._tried = {p: s for p, s in self._tried.items() if p in self._seen}
        self._tried |= {path: self._seen[path][0] for path in paths if path in self._seen}

    def batches(self) -> list[list[Path]]:
        """What is to be handed on now: what is new together, then what failed and is due, one by one."""
        ready, now = self.still(), self.clock()
        self._failed = {
            p: f for p, f in self._failed.items() if p in self._seen and self._seen[p][0] == f.state
        }
        new = [path for path in ready if path not in self._failed]
        due = [[path] for path in ready if path in self._failed and self._failed[path].due <= now]
        return ([new] if new else []) + due

    def failed(self, paths: Sequence[Path]) -> None:
        """Remember that a load of these failed; whichever of several it was shows when they come alone."""
        for path in paths:
            if path not in self._seen:
                continue
            before = self._failed.get(path)
            times = (before.times if before else 0) + (len(paths) == 1)
            pause = min(PAUSE_S * 2.0 ** min(times - 1, 30), LONGEST_PAUSE_S) if times else 0.0
            self._failed[path] = _Failed(self._seen[path][0], times, self.clock() + pause)

    def _entries(self) -> list[Path]:
        try:
            return [path for path in sorted(self.home.inbox.iterdir()) if not passed_over(path.name)]
        except OSError:
            return []


def _state(path: Path) -> State:
    """Every file under an entry; one that vanishes meanwhile is left out."""
    files = [path]
    if path.is_dir():
        files = [here / name for here, _, names in walk(path) for name in names]
    found = []
    for file in files:
        try:
            facts = file.stat()
        except OSError:
            continue
        found.append((str(file), facts.st_size, facts.st_mtime_ns))
    return frozenset(found)


def _wait_s(state: State) -> float:
    """A folder of samples without its session.toml gets longer: that file may come last.

    What the pages deliver is moved into the inbox whole, so it does not wait.
    """
    by_folder: dict[str, set[str]] = {}
    for file, _, _ in state:
        folder, name = os.path.split(file)
        by_folder.setdefault(folder, set()).add(name)
    if any(os.path.basename(file) == MARK for file, _, _ in state):  # noqa: PTH119 - of every file, often
        return 0.0
    lacking = any(SHEET not in names and any(map(is_orphan, names)) for names in by_folder.values())
    return PATIENCE_S if lacking else STILL_S


def watch(
    home: Home,
    take: Callable[[list[Path]], object],
    ended: threading.Event,
    chores: Callable[[], object] = lambda: None,
) -> None:
    """Hand on what comes to rest in the inbox until `ended` is set.

    Every few seconds `chores` are done. An error is written to the event log and ends nothing: whatever one
    delivery does, the next is loaded.
    """
    inbox, clock, next_chores = Inbox(home), time.monotonic, 0.0
    while not ended.wait(POLL_S):
        try:
            for batch in inbox.batches():
                if ended.is_set():
                    return
                _hand_on(home, inbox, batch, take)
            if clock() >= next_chores and home.settings_file.exists():
                next_chores = clock() + CHORES_S
                chores()
        except Exception as error:  # noqa: BLE001 - see above
            _log(home, error)


def _hand_on(home: Home, inbox: Inbox, batch: Sequence[Path], take: Callable[[list[Path]], object]) -> None:
    """Let one batch be loaded; it counts as tried once that has returned. What has vanished is left out."""
    there = [path for path in batch if path.exists()]
    if not there:
        return
    try:
        take(there)
    except Exception as error:  # noqa: BLE001 - whatever one delivery does, the next is loaded
        inbox.failed(there)
        _log(home, error)
    else:
        inbox.tried(there)


def _log(home: Home, error: Exception) -> None:
    journal.record(home, "loader", error=journal.one_line(error))
