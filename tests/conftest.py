"""What every test shares: the time zone, the order of modules, a small academy home, a browser."""

import os
import time
from pathlib import Path

import pytest
from hypothesis import settings

import browser
import builders
from warehouse.home import Home
from warehouse.store import writer

os.environ["TZ"] = "UTC"
time.tzset()
settings.register_profile("no_deadline", deadline=None)  # a busy machine is no failure
settings.load_profile("no_deadline")
os.umask(0o077)  # as the command does: what it writes is its user's alone


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Modules with a test that takes minutes go first, then those with a browser: workers then end together."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    browsers = {item.path for item in items if item.get_closest_marker("browser")}
    items.sort(key=lambda item: (item.path not in slow, item.path not in browsers))


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """A home with settings and nothing else."""
    return builders.make_home(tmp_path / "academy")


@pytest.fixture(scope="session")
def _filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    filled = builders.make_home(tmp_path_factory.mktemp("filled") / "academy")
    with writer(filled) as w:
        builders.fill(w)
        w.publish()
    return filled.path


@pytest.fixture
def filled(_filled: Path, home: Home) -> Home:
    """A home of the test's own with the small academy of `builders`, published: a copy of one made once."""
    return builders.copied(_filled, home)


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
