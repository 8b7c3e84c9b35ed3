"""Reading in a process of its own, within limits of time and memory, so that no delivery holds up the others.

A process reads one delivery after another. One that goes beyond its limits is ended, and another takes its
place. To start one takes seconds, so a little plain text, which is read in moments, is read on the spot.
"""

import atexit
import copyreg
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from multiprocessing.connection import Connection, Pipe
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from ingest.refusals import refuse

if sys.platform != "win32":
    import resource

Read = TypeVar("Read")
Progress = Callable[[str], None]
ROOT = Path(__file__).parents[1]
LITTLE_BYTES, PLAIN_TEXT = 1 << 20, (".csv", ".toml", ".json", ".jsonl")  # read in some 4 s at worst
READ_LIMIT_S, START_LIMIT_S = 60.0, 120.0  # the largest table that is taken is read in some 10 s
MOST_MEMORY_BYTES = 6 << 30  # beyond what the libraries themselves take
READY, DONE, FAILED, PROGRESS = "ready", "done", "failed", "progress"
_SERVE = "import sys; from ingest.reading_process import serve; serve(int(sys.argv[1]))"
_PARTS = "deliver it in smaller parts, or export it again"


def is_little(files: Sequence[str], n_bytes: int) -> bool:
    """Whether files are a little plain text."""
    return n_bytes <= LITTLE_BYTES and all(name.lower().endswith(PLAIN_TEXT) for name in files)


def read_apart(
    name: str, limit_s: float, progress: Progress | None, read: Callable[..., Read], *given: Any
) -> Read:
    """What `read(*given, progress)` returns or raises, in a process of its own; all of it must pickle.

    `progress` is called here, as `read` calls its own. `name` is the delivery's.

    Raises
        Refused: it took longer than `limit_s`, needed more memory than a delivery may, or ended the process.
    """
    if sys.platform == "win32":
        return read(*given, progress)
    task = pickle.dumps((limit_s, read, given), protocol=5)
    reader = _readers.take(at_once=limit_s > READ_LIMIT_S)
    try:
        how, value = reader.answer(limit_s, task, progress)
    except TimeoutError:
        what = f"reading {name} takes longer than {limit_s:g} s"
        raise refuse("over_time", what, _PARTS) from None
    except (EOFError, OSError):
        most = f"{MOST_MEMORY_BYTES >> 30} GB of memory"
        what = f"{name} can't be read, as it is damaged or too large for {most}"
        raise refuse("unreadable", what, _PARTS) from None
    finally:
        _readers.give_back(reader)
    if how == DONE:
        return value  # type: ignore[no-any-return]
    if isinstance(value, MemoryError):
        what = f"reading {name} takes more than {MOST_MEMORY_BYTES >> 30} GB of memory"
        raise refuse("over_memory", what, _PARTS)
    raise value


def read_within_limits(name: str, read: Callable[..., Read], *given: Any, here: bool = False) -> Read:
    """What `read(*given)` returns or raises, as `read_apart` has it; `here`: it is read on the spot."""
    if here:
        return read(*given)
    found: Read = read_apart(name, READ_LIMIT_S, None, _without_progress, read, *given)
    return found


def _without_progress(read: Callable[..., Read], *given: Any) -> Read:
    return read(*given[:-1])


class _Reader:
    """A process that reads, and this end of the pipe to it."""

    def __init__(self) -> None:
        self.pipe, far = Pipe()
        path = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
        self.process = subprocess.Popen(  # noqa: S603 - our own fixed command
            [sys.executable, "-P", "-c", _SERVE, str(far.fileno())],
            env=os.environ | {"PYTHONPATH": path},
            pass_fds=[far.fileno()],
            stdin=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,  # what a library prints as it runs out of memory
        )
        far.close()
        self.started = False

    def answer(self, limit_s: float, task: bytes, progress: Progress | None) -> tuple[str, Any]:
        """How reading ended, and with what. Whoever raises is ended.

        Raises
            TimeoutError: it took too long.
            EOFError, OSError: the process has ended.
        """
        try:
            if not self.started:
                self._next(time.monotonic() + START_LIMIT_S)
                self.started = True
            self.pipe.send_bytes(task)
            until = time.monotonic() + limit_s
            while True:
                how, value = self._next(until)
                if how != PROGRESS:
                    if isinstance(value, MemoryError):
                        self.end()
                    return how, value
                if progress is not None:
                    progress(value)
        except BaseException:
            self.end()
            raise

    def _next(self, until: float) -> tuple[str, Any]:
        if not self.pipe.poll(max(0.0, until - time.monotonic())):
            raise TimeoutError
        found: tuple[str, Any] = pickle.loads(self.pipe.recv_bytes())  # noqa: S301 - from our own process
        return found

    def end(self) -> None:
        """End the process."""
        self.pipe.close()
        self.process.kill()
        self.process.wait()


class _Readers:
    """The processes there are: one for tables, as a second would rarely pay for its start; more for films."""

    def __init__(self) -> None:
        self.idle: list[_Reader] = []
        self.busy: set[_Reader] = set()
        self.changed = threading.Condition()

    def take(self, *, at_once: bool) -> _Reader:
        """One that waits, or a new one; where one is busy, that one later, unless it is wanted at once."""
        with self.changed:
            while not self.idle and self.busy and not at_once:
                self.changed.wait()
            self.idle = [reader for reader in self.idle if reader.process.poll() is None]
            reader = self.idle.pop() if self.idle else _Reader()
            self.busy.add(reader)
            return reader

    def give_back(self, reader: _Reader) -> None:
        """It waits again, unless it has ended."""
        with self.changed:
            self.busy.discard(reader)
            if reader.process.poll() is None:
                self.idle.append(reader)
            self.changed.notify_all()

    def close(self) -> None:
        """End those that wait."""
        while self.idle:
            self.idle.pop().end()


_readers = _Readers()
atexit.register(_readers.close)


def _frozen(items: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(items)


copyreg.pickle(MappingProxyType, lambda proxy: (_frozen, (dict(proxy),)))


def serve(handle: int) -> None:
    """Read what comes through the pipe of that handle until its other end is closed."""
    pipe = Connection(handle)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the load ends it
    import ingest.reading  # noqa: F401, PLC0415 - before the limits, which are on top of what the libraries take

    _limit_memory()
    _send(pipe, READY, None)
    with suppress(EOFError, OSError):
        while True:
            task = pipe.recv_bytes()
            try:
                limit_s, read, given = pickle.loads(task)  # noqa: S301 - from our own process
                signal.setitimer(signal.ITIMER_REAL, limit_s * 1.5 + 5)  # where nobody is left to end it
                _send(pipe, DONE, read(*given, lambda said: _send(pipe, PROGRESS, said)))
            except Exception as error:  # noqa: BLE001 - it is raised where the delivery is wanted
                _send(pipe, FAILED, error)
            signal.setitimer(signal.ITIMER_REAL, 0)


def _send(pipe: Connection, how: str, value: Any) -> None:
    try:
        data = pickle.dumps((how, value), protocol=5)
    except (pickle.PicklingError, TypeError, AttributeError) as error:
        data = pickle.dumps((FAILED, ValueError(str(error))), protocol=5)
    pipe.send_bytes(data)


def _limit_memory() -> None:
    taken = 8 << 30
    with suppress(OSError):
        taken = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    with suppress(OSError, ValueError):
        _, ceiling = resource.getrlimit(
            resource.RLIMIT_AS
        )  # kept: C3D files have a process and limit of their own
        resource.setrlimit(resource.RLIMIT_AS, (taken + MOST_MEMORY_BYTES, ceiling))
