"""Putting a warehouse that was rebuilt beside in the place of the standing one.

The new warehouse and its traces are complete and flushed before a mark says so. From the mark on the swap is
only finished, never undone: by the process that made it or, after a crash, by the next writer. Traces are
replaced file by file, so that a page never finds one missing.
"""

import json
import os
import shutil
from pathlib import Path

from warehouse.home import Home, sync

MARK = "swap.json"


def clear(home: Home) -> None:
    """Remove what a rebuild that did not come to its end left behind."""
    beside = home.made_beside()
    for left in home.path.glob(f"{beside.warehouse_file.name}*"):
        left.unlink(missing_ok=True)
    shutil.rmtree(beside.traces, ignore_errors=True)


def mark(home: Home) -> None:
    """Say, flushed to disk, that the warehouse beside is complete and takes the standing one's place."""
    beside = home.made_beside()
    sync(beside.warehouse_file)
    names = sorted(p.relative_to(beside.traces).as_posix() for p in beside.traces.rglob("*.parquet"))
    part = home.path / f"{MARK}.part"
    with part.open("w", encoding="utf-8") as file:
        json.dump({"traces": names}, file)
        file.flush()
        os.fsync(file.fileno())
    part.replace(home.path / MARK)
    sync(home.path)


def settle(home: Home) -> None:
    """Finish a swap that was marked, else clear what an interrupted rebuild left. Only under the lock."""
    told = home.path / MARK
    if not told.exists():
        clear(home)
        return
    beside = home.made_beside()
    names = json.loads(told.read_text(encoding="utf-8"))["traces"]
    _traces(beside.traces, home.traces, names)
    if beside.warehouse_file.exists():
        Path(f"{home.warehouse_file}.wal").unlink(missing_ok=True)  # it belongs to the file that goes
        beside.warehouse_file.replace(home.warehouse_file)
    sync(home.path)
    told.unlink()
    clear(home)


def _traces(new: Path, standing: Path, names: list[str]) -> None:
    """Every new trace under its own name, every other one gone."""
    for name in names:
        source, target = new / name, standing / name
        if source.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            source.replace(target)
    kept = {standing / name for name in names}
    for trace in standing.rglob("*.parquet*"):
        if trace not in kept:
            trace.unlink(missing_ok=True)
