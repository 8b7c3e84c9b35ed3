"""What readers open: numbered snapshots and the pointer to the newest; and a rebuilt warehouse's way in.

A warehouse that was rebuilt beside the one in use is complete and flushed, with its traces, before a mark
says so. From the mark on the exchange is only finished, never undone: by the process that made it or, after a
crash, by the next writer. Traces are replaced file by file, so that a page never finds one missing.
"""

import json
import logging
import re
import shutil
import time
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from warehouse import journal
from warehouse.errors import CallError
from warehouse.home import Home, sync, write_synced

log = logging.getLogger(__name__)
SNAPSHOTS_KEPT = 3
POINTER = "current.json"
MARK = "swap.json"


def publish(home: Home, connection: duckdb.DuckDBPyConnection) -> Path:
    """Copy the warehouse to a new numbered file, point readers at it, keep the last three.

    The number only ever grows: a reader that still holds a replaced file of the same name would keep serving
    its old rows.
    """
    started = time.monotonic()
    home.published.mkdir(parents=True, exist_ok=True)
    target = home.published / f"warehouse-{_next_number(home):06d}.duckdb"
    with journal.step(log, "published %s", target.name):
        connection.execute("CHECKPOINT").fetchall()
        _copy(home, target)
    seconds = round(time.monotonic() - started, 3)
    journal.record(home, "publish", seconds=seconds, file=target.name, n_bytes=target.stat().st_size)
    return target


def _copy(home: Home, target: Path) -> None:
    part = target.with_suffix(".part")
    try:
        shutil.copyfile(home.warehouse_file, part)
        sync(part)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    write_synced(
        home.published / POINTER,
        json.dumps({"file": target.name, "at": datetime.now(UTC).isoformat(timespec="seconds")}) + "\n",
    )
    for old in _snapshots(home)[:-SNAPSHOTS_KEPT]:
        with suppress(OSError):
            old.unlink()


def _snapshots(home: Home) -> list[Path]:
    return sorted(home.published.glob("warehouse-*.duckdb"))


def _next_number(home: Home) -> int:
    numbers = [int(path.stem.removeprefix("warehouse-")) for path in _snapshots(home)]
    pointer = _pointed_name(home)
    if pointer is not None:
        numbers.append(int(pointer.removesuffix(".duckdb").removeprefix("warehouse-")))
    return max(numbers, default=0) + 1


def current_name(home: Home) -> str:
    """Name of the snapshot that readers should open now.

    Raises
        CallError: nothing was published yet.
    """
    name = _pointed_name(home)
    if name is None:
        home.settings()  # says so when there is no academy at all
        raise CallError(
            f"Nothing is published in {home.path} yet; "
            f"load a delivery first: underfoot load --home {home.path}"
        )
    return name


def is_published(home: Home) -> bool:
    """Whether there is anything for readers to open."""
    return _pointed_name(home) is not None


def _pointed_name(home: Home) -> str | None:
    """The name in the pointer file, else the newest snapshot when the pointer cannot be read."""
    try:
        name = json.loads((home.published / POINTER).read_text(encoding="utf-8"))["file"]
        if re.fullmatch(r"warehouse-\d+\.duckdb", name) and (home.published / name).is_file():
            return str(name)
    except (OSError, ValueError, KeyError, TypeError):
        pass
    files = _snapshots(home)
    return files[-1].name if files else None


def clear_rebuild(home: Home) -> None:
    """Remove what a rebuild that did not come to its end left behind."""
    beside = home.made_beside()
    for left in home.path.glob(f"{beside.warehouse_file.name}*"):
        left.unlink(missing_ok=True)
    shutil.rmtree(beside.traces, ignore_errors=True)


def mark_rebuild(home: Home) -> None:
    """Say, flushed to disk, that the warehouse beside is complete and takes the current one's place."""
    beside = home.made_beside()
    sync(beside.warehouse_file)
    names = sorted(p.relative_to(beside.traces).as_posix() for p in beside.traces.rglob("*.parquet"))
    write_synced(home.path / MARK, json.dumps({"traces": names}))


def settle_rebuild(home: Home) -> None:
    """Finish a swap that was marked, else clear what an interrupted rebuild left. Only under the lock."""
    mark = home.path / MARK
    if not mark.exists():
        clear_rebuild(home)
        return
    beside = home.made_beside()
    names = json.loads(mark.read_text(encoding="utf-8"))["traces"]
    _replace_traces(beside.traces, home.traces, names)
    if beside.warehouse_file.exists():
        Path(f"{home.warehouse_file}.wal").unlink(missing_ok=True)  # it belongs to the file that goes
        beside.warehouse_file.replace(home.warehouse_file)
    sync(home.path)
    mark.unlink()
    clear_rebuild(home)


def _replace_traces(new: Path, current: Path, names: list[str]) -> None:
    """Every new trace under its own name, every other one gone."""
    for name in names:
        source, target = new / name, current / name
        if source.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            source.replace(target)
    kept = {current / name for name in names}
    for trace in current.rglob("*.parquet*"):
        if trace not in kept:
            trace.unlink(missing_ok=True)
