"""The one writer's lock. The system gives it back when its process dies, so no lock is ever stale."""

import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from warehouse.errors import UnderfootError

LOCK, HOLDER = "writer.lock", "writer.json"


@dataclass(frozen=True)
class Holder:
    """The process that holds the lock, as it wrote itself down; None where it did not."""

    pid: int | None
    since: str | None


@contextmanager
def held(folder: Path, on_wait: Callable[[], None] | None = None, wait_s: float = 600.0) -> Iterator[None]:
    """Hold the lock of a folder; call `on_wait` once when someone else holds it.

    The lock file is never replaced or removed, so two processes can't hold two different ones. Who holds it
    stands beside it, in a file that binds nobody.

    Raises
        UnderfootError: another writer still held it after `wait_s` seconds, or the folder can't be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / LOCK)
        lock.acquire(timeout=0)
    except Timeout:
        if on_wait is not None:
            on_wait()
        try:
            lock.acquire(timeout=wait_s)
        except Timeout as error:
            raise UnderfootError(
                f"Another load or build has held {folder} for over {wait_s:.0f} s; "
                "wait for it to end, then try again."
            ) from error
    except OSError as error:
        raise UnderfootError(
            f"{folder} can't be written ({error.strerror or type(error).__name__}); "
            "give yourself the right to write there, or name another home with --home DIR."
        ) from error
    try:
        _say_held(folder)
        yield
    finally:
        with suppress(OSError):
            (folder / HOLDER).unlink(missing_ok=True)
        lock.release()


def _say_held(folder: Path) -> None:
    told = {"pid": os.getpid(), "since": datetime.now(UTC).isoformat(timespec="seconds")}
    with suppress(OSError):
        (folder / HOLDER).write_text(json.dumps(told) + "\n", encoding="utf-8")


def holder(folder: Path) -> Holder | None:
    """Who holds the lock just now; None when nobody does."""
    path = folder / LOCK
    if not path.exists():
        return None
    lock = FileLock(path)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        with suppress(OSError, ValueError, KeyError, TypeError):
            told = json.loads((folder / HOLDER).read_text(encoding="utf-8"))
            return Holder(int(told["pid"]), str(told["since"]))
        return Holder(None, None)
    except OSError:
        return None  # a home that can't be written has no writer
    lock.release()
    return None
