"""What every test shares: the clock's zone, and a small academy home."""

import os
import time
from pathlib import Path

import pytest

import browser
import builders
from warehouse.home import Home

os.environ["TZ"] = "UTC"
time.tzset()


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """A home with settings and nothing else."""
    return builders.make_home(tmp_path / "academy")


@pytest.fixture(scope="module")
def playwright():
    """What drives the browsers of a module. Imported here, so that only browser tests need it."""
    browser.require_chromium()
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only browser tests need it

    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="module")
def chromium(playwright):
    """A running browser, one a module; skipped or failed by name where there is none."""
    running = playwright.chromium.launch(executable_path=browser.require_chromium(), args=browser.ARGS)
    yield running
    running.close()
