"""What every test shares: the clock's zone, and a small academy home."""

import os
import time
from pathlib import Path

import pytest

import builders
from warehouse.home import Home

os.environ["TZ"] = "UTC"
time.tzset()


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """A home with settings and nothing else."""
    return builders.make_home(tmp_path / "academy")
