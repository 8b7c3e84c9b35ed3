"""A build's traces read and reduced by the workers of a Dask scheduler, over a home that all of them share.

The one writer stays where the build was started: a worker only reads trace files and sends its answers back.
When one dies, the scheduler gives its sessions to another.
"""

import hashlib
import platform
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import cache, partial
from importlib import import_module, metadata
from pathlib import Path
from types import ModuleType
from typing import Any

from models import samples
from models.swing.reduce import SessionTask
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home

MISSING = "Building on a cluster needs Dask on every machine: pip install 'underfoot[cluster]'"
CONNECT_S = 10.0
ROOMS = ("models", "warehouse")
LIBRARIES = ("numba", "numpy", "polars", "pyarrow", "scipy")


@cache
def version() -> str:
    """What answers depend on: the sources of models and warehouse, Python and the libraries that compute."""
    root, digest = Path(__file__).parents[1], hashlib.sha256(platform.python_version().encode())
    for file in sorted(file for room in ROOMS for file in (root / room).rglob("*")):
        if file.suffix in {".py", ".sql", ".toml"}:
            digest.update(file.relative_to(root).as_posix().encode() + b"\0" + file.read_bytes() + b"\0")
    for library in LIBRARIES:
        digest.update(f"{library} {metadata.version(library)}\0".encode())
    return digest.hexdigest()[:16]


def on_worker(
    function: Callable[[SessionTask], Any], wanted: str, settings_file: Path, task: SessionTask
) -> Any:
    """What `function` makes of a session, on a worker that sees the home and has our version.

    Raises
        CallError: the worker has another version of Underfoot, or does not see the home.
    """
    if version() != wanted:
        raise CallError(
            f"The worker on {platform.node()} has another version of Underfoot, Python or their libraries "
            "than the machine that builds; install the same on both and start the worker again."
        )
    if not settings_file.is_file():
        raise CallError(
            f"The worker on {platform.node()} does not see {settings_file.parent}; share the home so that "
            "every machine has it under this path."
        )
    return function(task)


@contextmanager
def workers_at(address: str | None, home: Home) -> Iterator[None]:
    """Within the block, sessions are read by the workers of the scheduler at `address`, as in tcp://10.0.0.2:8786.

    Without an address, they are read here as usual.

    Raises
        CallError: Dask is missing, no scheduler answers, it has no workers, or as `on_worker`.
        UnderfootError: workers kept dying.
    """
    if address is None:
        yield
        return
    distributed = _distributed()
    try:
        client = distributed.Client(address, timeout=CONNECT_S)
    except (OSError, ValueError) as error:
        raise CallError(f"No Dask scheduler answers at {address}; start one: dask scheduler") from error
    with client:
        if not client.nthreads():
            raise CallError(f"The scheduler at {address} has no workers; start some: dask worker {address}")

        def each(function: Callable[[SessionTask], Any], tasks: Iterable[SessionTask]) -> list[Any]:
            call = partial(on_worker, function, version(), home.settings_file)
            try:
                return list(client.gather(client.map(call, list(tasks), pure=False)))
            except distributed.KilledWorker as error:
                raise UnderfootError(
                    f"Workers at {address} kept dying ({error}); nothing was changed. See their logs; a "
                    "worker needs about a gigabyte of memory."
                ) from error

        before = samples.readers.set(each)
        try:
            yield
        finally:
            samples.readers.reset(before)


def _distributed() -> ModuleType:
    try:
        return import_module("distributed")
    except ModuleNotFoundError as error:
        raise CallError(MISSING) from error
