"""events.jsonl: what was done to this home, one JSON object a line.

For people and their tools; nothing in the product reads it back.
"""

import json
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from typing import Any

from warehouse.home import Home


def write(home: Home, event: str, **facts: Any) -> None:
    """Add one line: when, what (load, retry, build, rebuild, refused, publish, backup …), and its facts.

    Never raises over a full or read-only disk: the log must not stop what it tells of.
    """
    line = {"at": datetime.now(UTC).isoformat(timespec="milliseconds"), "event": event, **facts}
    text = json.dumps(line, ensure_ascii=False, default=str) + "\n"
    with suppress(OSError):
        handle = os.open(home.events, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        try:
            os.write(handle, text.encode())  # one write: two processes' lines never mix
        finally:
            os.close(handle)


@contextmanager
def timed(home: Home, event: str) -> Iterator[dict[str, Any]]:
    """Write one line when the block ends: its seconds, the facts it put in, and the error that ended it."""
    facts: dict[str, Any] = {}
    started = time.monotonic()
    try:
        yield facts
    except BaseException as error:
        facts["error"] = " ".join(str(error).split()) or type(error).__name__
        raise
    finally:
        write(home, event, seconds=round(time.monotonic() - started, 3), pid=os.getpid(), **facts)
