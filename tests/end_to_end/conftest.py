"""The demo academy, made, loaded and built once by the command itself."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from warehouse.home import Home
from warehouse.store import Snapshot, open_snapshot

DEMO_SCALE = 0.4


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
    """The demo at a smaller scale, every special kind still in it."""
    path = tmp_path_factory.mktemp("demo") / "academy"
    ran = subprocess.run(
        [
            sys.executable,
            "-m",
            "underfoot",
            "demo",
            "--no-serve",
            "--scale",
            str(DEMO_SCALE),
            "--home",
            str(path),
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    if ran.returncode != 0:
        pytest.fail(
            f"underfoot demo ended with {ran.returncode}:\n{ran.stdout[-3000:]}\n{ran.stderr[-3000:]}"
        )
    return Demo(path)
