"""The demo academy, made, loaded and built once by the command itself."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from browser import ROOT, free_port
from shared_academies import shared
from warehouse.home import Home
from warehouse.store import Snapshot, open_snapshot

DEMO_SCALE = 0.4
SOURCES = ("underfoot.py", "warehouse", "ingest", "models", "demo_academy")


class Demo:
    """A loaded demo academy beside the truth planted in it."""

    def __init__(self, path: Path) -> None:
        self.home = Home(path)
        self.snapshot: Snapshot = open_snapshot(self.home)
        self.planted = pl.read_parquet(path / "planted_truth.parquet")
        self.truth: dict[str, Any] = json.loads((path / "planted_truth.json").read_text(encoding="utf-8"))

    def sql(self, query: str) -> pl.DataFrame:
        return self.snapshot.sql(query)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """The demo at a smaller scale, every special kind still in it. Test workers share one; nobody writes to it."""
    return Demo(shared(tmp_path_factory, "demo", SOURCES, _make))


@pytest.fixture
def command(tmp_path: Path) -> Iterator[tuple[Home, str]]:
    """`underfoot new` at work in an empty folder; gives the address it prints."""
    home = tmp_path / "our-academy"
    call = [sys.executable, "-m", "underfoot", "new", str(home), "--no-browser", "--port", str(free_port())]
    with subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, text=True) as running:
        try:
            said = running.stdout.readline() if running.stdout else ""
            yield Home(home), re.findall(r"http://localhost:\d+/start\?key=\S+", said)[0]
        finally:
            running.terminate()


def _make(path: Path) -> None:
    call = ["demo", "--no-serve", "--scale", str(DEMO_SCALE), "--home", str(path)]
    ran = subprocess.run(
        [sys.executable, "-m", "underfoot", *call], capture_output=True, text=True, check=False, timeout=300
    )
    if ran.returncode != 0:
        pytest.fail(
            f"underfoot demo ended with {ran.returncode}:\n{ran.stdout[-3000:]}\n{ran.stderr[-3000:]}"
        )
