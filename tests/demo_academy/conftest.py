import json
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from demo_academy.write import write_academy
from shared_academies import shared

SCALE = 0.2
SOURCES = ("demo_academy", "warehouse")


@pytest.fixture(scope="session")
def academy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small demo academy, written once for all tests here."""
    return shared(tmp_path_factory, "delivered", SOURCES, lambda target: write_academy(target, scale=SCALE))


@pytest.fixture(scope="session")
def truth(academy: Path) -> pl.DataFrame:
    return pl.read_parquet(academy / "planted_truth.parquet")


@pytest.fixture(scope="session")
def planted(academy: Path) -> dict[str, Any]:
    return json.loads((academy / "planted_truth.json").read_text())


@pytest.fixture(scope="session")
def bad_sessions(planted: dict[str, Any]) -> set[str]:
    """Folders that must be refused whole."""
    return {row["delivery"] for row in planted["expected_refusals"] if row["swing_no"] is None}
