"""Calendars of lessons (`*.ics`): delivered on their own, or fetched from the address in academy.toml.

Pages read a day of them as it is asked for. What can't be fetched or read leaves the one that was fetched
last; the event log says why.
"""

import time
import urllib.request
from codecs import BOM_UTF8
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from ingest.formats.explanation import Explanation, Knowing
from ingest.formats.format import Format
from warehouse import journal, lessons
from warehouse.errors import UnderfootError
from warehouse.home import Home, write_synced

EVERY_S, TIMEOUT_S, LONGEST_S = 900.0, 10.0, 30.0
_PART = 1 << 16
_tried: dict[Path, tuple[str, float]] = {}  # home → the address asked last, and when


class Calendar(Format):
    """An iCalendar file."""

    title = "Lessons"
    names = ("*.ics",)
    endings = (".ics",)
    in_session = False
    loose = lessons.KIND

    def explain(self, path: Path, knowing: Knowing) -> Explanation:  # noqa: ARG002 - no device makes one
        """Count its entries."""
        found = Explanation(path.name, self.title)
        found.facts["entries"] = str(lessons.check(path.read_bytes()))
        return found


def fetch(
    home: Home,
    opening: Callable[..., Any] = urllib.request.urlopen,
    clock: Callable[[], float] = time.monotonic,
) -> bool:
    """Fetch the calendar if it is due; whether another one is there now."""
    address = home.settings().calendar
    before = _tried.get(home.path)
    if not lessons.is_address(address):
        return False
    if before is not None and before[0] == address and clock() - before[1] < EVERY_S:
        return False
    _tried[home.path] = address, clock()
    kept = home.path / lessons.FETCHED
    try:
        data = _read(address, opening, clock).removeprefix(BOM_UTF8)
        lessons.check(data)
        if kept.is_file() and kept.read_bytes() == data:
            return False
        write_synced(kept, data.decode())
    except (UnderfootError, OSError, ValueError) as error:
        journal.record(home, "calendar", error=journal.one_line(error))
        return False
    return True


def _read(address: str, opening: Callable[..., Any], clock: Callable[[], float]) -> bytes:
    """What is at an address, and of what is larger than a calendar may be no more than shows that.

    Raises
        OSError: nothing answers, or not in time.
    """
    until, data = clock() + LONGEST_S, bytearray()
    secure = "https://" + address.partition("://")[2]
    with closing(opening(secure, timeout=TIMEOUT_S)) as answer:
        while len(data) <= lessons.MOST_BYTES and (part := answer.read(_PART)):
            data += part
            if clock() > until:
                raise TimeoutError("the calendar takes too long")
    return bytes(data)
