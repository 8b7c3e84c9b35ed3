"""Few pages are made at the same moment; the others wait for their turn, first come, first served.

Threads that all want the interpreter at once hold up the one that answers visitors, and finish no sooner.
A long page lets the others in between its parts: everybody sees the top of their page early.
"""

import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager

AT_ONCE = 3
_mine = threading.local()


class _Turns:
    """So many turns; one that is given back goes straight to whoever has waited longest."""

    def __init__(self, count: int) -> None:
        self._free, self._lock = count, threading.Lock()
        self._waiting: deque[threading.Event] = deque()

    def take(self, *, after_others: bool = False) -> None:
        """Wait for a turn; `after_others`: give one's own to whoever waits, and wait behind them."""
        mine = threading.Event()
        with self._lock:
            if after_others:
                self._give()
            if self._free:
                self._free -= 1
                return
            self._waiting.append(mine)
        mine.wait()

    def give(self) -> None:
        """Give one's turn back."""
        with self._lock:
            self._give()

    def _give(self) -> None:
        if self._waiting:
            self._waiting.popleft().set()
        else:
            self._free += 1


_turns = _Turns(AT_ONCE)


@contextmanager
def turn() -> Iterator[None]:
    """Wait for a turn, and have it until the block ends, however it ends."""
    _turns.take()
    _mine.held = True
    try:
        yield
    finally:
        _mine.held = False
        _turns.give()


def let_others_in() -> None:
    """Let those who wait go first; nothing happens without a turn, as in a part of a page that runs alone."""
    if getattr(_mine, "held", False):
        _turns.take(after_others=True)


def pause(seconds: float) -> None:
    """Sleep within a turn, which somebody else has meanwhile."""
    _turns.give()
    try:
        time.sleep(seconds)
    finally:
        _turns.take()
