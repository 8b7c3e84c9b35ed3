"""What happens to a home, said twice: events.jsonl for its keepers, log lines for whoever follows a run.

events.jsonl holds one JSON object a line; nothing in the product reads it back. Log lines are the standard
library's, one a step with its duration, and off until `show_steps`.
"""

import json
import logging
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from typing import Any

from warehouse.home import Home

VERBOSE = "UNDERFOOT_VERBOSE"  # set in the environment: the pages' own process shows its steps as well
_WINGS = ("warehouse", "ingest", "models", "dashboard", "demo_academy")


def record(home: Home, event: str, **facts: Any) -> None:
    """Add one line to events.jsonl: when, what (load, retry, build, refused, publish, backup …), its facts.

    Never raises over a full or read-only disk: the journal must not stop what it records.
    """
    line = {"at": datetime.now(UTC).isoformat(timespec="milliseconds"), "event": event, **facts}
    text = json.dumps(line, ensure_ascii=False, default=str) + "\n"
    with suppress(OSError):
        handle = os.open(home.events, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        try:
            os.write(handle, text.encode())  # one write: two processes' lines never mix
        finally:
            os.close(handle)


@contextmanager
def recorded(home: Home, event: str) -> Iterator[dict[str, Any]]:
    """Record an event when the block ends: its seconds, the facts it put in, and the error that ended it."""
    facts: dict[str, Any] = {}
    started = time.monotonic()
    try:
        yield facts
    except BaseException as error:
        facts["error"] = one_line(error)
        raise
    finally:
        record(home, event, seconds=round(time.monotonic() - started, 3), pid=os.getpid(), **facts)


def one_line(error: BaseException) -> str:
    """What an error says, on one line; its type when it says nothing."""
    return " ".join(str(error).split()) or type(error).__name__


@contextmanager
def step(log: logging.Logger, what: str, *args: object) -> Iterator[None]:
    """Log one line when the block ends: what was done (a %-format and its arguments) and how long it took.

    Call it with the module's own logger: `with step(log, "read %s", name): ...`
    """
    if not log.isEnabledFor(logging.INFO):
        yield
        return
    started = time.perf_counter()
    try:
        yield
    except BaseException as error:
        log.info("%s: %s after %.3f s", what % args, type(error).__name__, time.perf_counter() - started)
        raise
    log.info("%s (%.3f s)", what % args, time.perf_counter() - started)


def show_steps() -> None:
    """Show every step on stderr from now on, in this process and in those it starts."""
    os.environ[VERBOSE] = "1"
    show_steps_if_asked()


def show_steps_if_asked() -> None:
    """Show every step on stderr when the environment asks for it."""
    if not steps_are_shown():
        return
    for wing in _WINGS:
        log = logging.getLogger(wing)
        if not log.handlers:
            handler = logging.StreamHandler()
            handler.setFormatter(logging.Formatter("%(asctime)s %(name)s: %(message)s"))
            log.addHandler(handler)
            log.setLevel(logging.INFO)


def steps_are_shown() -> bool:
    """Whether the environment asks for the steps of a run."""
    return bool(os.environ.get(VERBOSE))
