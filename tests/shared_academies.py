"""Academies that many tests read: built once for all workers, and kept for later runs while the sources stay the same.

A build is kept under .cache/tests/ by the hash of the sources that make it, and every run works on a copy of its
own, so nothing that a test writes can reach the next run.
"""

import hashlib
import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from filelock import FileLock

ROOT = Path(__file__).parents[1]
KEPT = ROOT / ".cache" / "tests"


def sources_hash(names: Sequence[str]) -> str:
    """A hash of every source file under these files and folders of the project."""
    digest = hashlib.sha256()
    for name in (*names, "constraints.txt"):
        place = ROOT / name
        files = [place] if place.is_file() else sorted(place.rglob("*"))
        for file in files:
            if file.suffix in {".py", ".sql", ".toml", ".txt"} and file.is_file():
                digest.update(file.relative_to(ROOT).as_posix().encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def run_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A temporary folder that all workers of this run share."""
    base = tmp_path_factory.getbasetemp()
    return base.parent if "PYTEST_XDIST_WORKER" in os.environ else base


def shared(
    tmp_path_factory: pytest.TempPathFactory, name: str, sources: Sequence[str], make: Callable[[Path], None]
) -> Path:
    """This run's copy of an academy. `make` fills the folder it is given, unless a build of `sources` is kept."""
    copy = run_folder(tmp_path_factory) / f"shared-{name}"
    KEPT.mkdir(parents=True, exist_ok=True)
    with FileLock(KEPT / f"{name}.lock"):
        if not copy.exists():
            kept = KEPT / f"{name}-{sources_hash(sources)}"
            if not kept.exists():
                for stale in KEPT.glob(f"{name}-*"):
                    shutil.rmtree(stale)
                make(kept.with_name(f"{name}-unfinished"))
                kept.with_name(f"{name}-unfinished").rename(kept)
            shutil.copytree(kept, copy, symlinks=True)
    return copy
