"""Recordings of other makers, fetched by the set-up: skipped by name when missing, failed in CI."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

CACHE = Path(__file__).resolve().parents[2] / ".cache" / "outside"


@pytest.fixture(scope="session")
def outside_file() -> Callable[[str], Path]:
    """Path of a fetched file by its name."""

    def find(name: str) -> Path:
        path = CACHE / name
        if not path.exists():
            reason = f"{name} is missing: run python tests/outside/data_packages.py"
            if os.environ.get("CI") == "true":
                pytest.fail(reason)
            pytest.skip(reason)
        return path

    return find
