"""Few pages are made at the same moment; the others wait for their turn, first come, first served.

Threads that all want the interpreter at once hold up the one that answers visitors, and finish no sooner.
Everybody sees the top of their page early: once it is shown, a page waits behind those that have shown
nothing yet, and between its parts behind everyone.
"""

import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager

AT_ONCE = 3
_mine = threading.local()


class _Turns:
    """So many turns; one given back goes to who has waited longest of those who have shown nothing yet.

    Where there is nobody like that, it goes to who has waited longest.
    """

    def __init__(self, count: int) -> None:
        self._free, self._lock = count, threading.Lock()
        self._new: deque[threading.Event] = deque()
        self._others: deque[threading.Event] = deque()

    def take(self, *, new: bool = False, after_others: bool = False) -> None:
        """Wait for a turn, as one who has shown nothing (`new`) or not.

        `after_others`: give one's own to whoever waits, and wait behind them.
        """
        mine = threading.Event()
        with self._lock:
            if after_others:
                self._give()
            if self._free:
                self._free -= 1
                return
            (self._new if new else self._others).append(mine)
        mine.wait()

    def give(self) -> None:
        """Give one's turn back."""
        with self._lock:
            self._give()

    def _give(self) -> None:
        waiting = self._new or self._others
        if waiting:
            waiting.popleft().set()
        else:
            self._free += 1


_turns = _Turns(AT_ONCE)


@contextmanager
def turn() -> Iterator[None]:
    """Wait for a turn, and have it until the block ends, however it ends."""
    _turns.take(new=True)
    _mine.shown = ""
    try:
        yield
    finally:
        _mine.shown = None
        _turns.give()


def shown(*, title: bool = False) -> None:
    """Note that a page has shown its title or something else; the first below its title is its top."""
    before = getattr(_mine, "shown", None)
    if title and before == "":
        _mine.shown = "title"
    elif before == "title" and not title:
        _mine.shown = "top"
        let_others_in()


def let_others_in() -> None:
    """Let those who wait go first, once the top of one's page is shown.

    Nothing happens without a turn, as in a part of a page that runs alone.
    """
    if getattr(_mine, "shown", None) == "top":
        _turns.take(after_others=True)


def pause(seconds: float) -> None:
    """Sleep within a turn, which somebody else has meanwhile."""
    _turns.give()
    try:
        time.sleep(seconds)
    finally:
        _turns.take()
