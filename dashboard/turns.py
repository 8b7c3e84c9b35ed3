"""Few pages are made at the same moment; the others wait for their turn, first come, first served.

Threads that all want the interpreter at once hold up the one that answers visitors, and finish no sooner.
"""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

AT_ONCE = 3
_turns = threading.Semaphore(AT_ONCE)


@contextmanager
def turn() -> Iterator[None]:
    """Wait for a turn, and have it until the block ends, however it ends."""
    with _turns:
        yield


def pause(seconds: float) -> None:
    """Sleep within a turn, which somebody else has meanwhile."""
    _turns.release()
    try:
        time.sleep(seconds)
    finally:
        _turns.acquire()
