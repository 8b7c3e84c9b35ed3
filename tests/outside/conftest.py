"""Recordings of other makers, fetched by the set-up: skipped by name when missing, failed in CI."""

from collections.abc import Callable
from pathlib import Path

import pytest

import required

CACHE = Path(__file__).resolve().parents[2] / ".cache" / "outside"


@pytest.fixture(scope="session")
def outside_file() -> Callable[[str], Path]:
    """Path of a fetched file by its name."""

    def find(name: str) -> Path:
        path = CACHE / name
        if not path.exists():
            required.missing(f"{name} is missing: run python tests/outside/data_packages.py")
        return path

    return find
