"""A real browser on a real server: Debian's Chromium driven by Playwright, Streamlit on a free port."""

import contextlib
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from urllib.request import urlopen

import pytest

import required
from dashboard.serving import streamlit
from warehouse.home import Home

ROOT = Path(__file__).parents[1]
CHROMIUM = shutil.which("chromium")
LIMIT_MS = 60_000
ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


PICTURE = '[data-testid="stVegaLiteChart"], [data-testid="stMain"] img'
PICTURED = ("students", "student", "progress")  # whoever looks, there is something to draw

# Records when a page's first picture is drawn, by the page's own clock; without a picture, when the page is done.
NOTE_FIRST_PICTURE = """(() => {
    const drawn = () => {
        const canvas = document.querySelector('[data-testid="stVegaLiteChart"] canvas');
        if (canvas) {
            return canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data.some((v) => v > 0);
        }
        const app = document.querySelector('[data-testid="stApp"]');
        return document.querySelector('[data-testid="stVegaLiteChart"] svg') !== null
            || (document.querySelector('[data-testid="stMain"] h1') !== null
                && app.getAttribute('data-test-script-state') === 'notRunning');
    };
    const look = () => {
        if (drawn()) window.firstPictureMs = performance.now();
        else requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
})()"""


def require_chromium() -> str:
    """The browser's path; without it, or without Playwright, the test is skipped by name, and fails in CI."""
    missing = [] if CHROMIUM else ["Chromium (Debian's package chromium)"]
    missing += [] if find_spec("playwright") else ["Playwright (the extra [test])"]
    if missing:
        required.missing(" and ".join(missing) + " is not installed.")
    return str(CHROMIUM)


def screen(width: int) -> dict:
    """Options of a browser page: a desk, or (under 600 px) a phone, which says so of itself."""
    options: dict = {"viewport": {"width": width, "height": 900}}
    if width < 600:
        phone = "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/150.0 Mobile Safari/537.36"
        options |= {"is_mobile": True, "has_touch": True, "user_agent": phone}
    return options


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def wait_for_health(base: str, log: Path) -> None:
    """Wait until the server of an address answers."""
    for _ in range(1200):  # a crowded machine takes a minute to import what the pages need
        with contextlib.suppress(OSError), urlopen(base + "/_stcore/health", timeout=2) as answer:
            if answer.status == 200:
                return
        time.sleep(0.1)
    pytest.fail(f"the dashboard did not start:\n{log.read_text()[-2000:]}")


@contextlib.contextmanager
def served(
    home: Path | Home, log: Path, *, port: int | None = None, options: dict | None = None
) -> Iterator[str]:
    """The dashboard of a home; yields its address. The server's output goes to `log`."""
    port, path = port or free_port(), home.path if isinstance(home, Home) else home
    call = streamlit({"server.port": port, **(options or {})})
    environment = {**os.environ, "UNDERFOOT_HOME": str(path), "PYTHONPATH": str(ROOT)}
    with (
        log.open("w") as out,
        subprocess.Popen(call, stdout=out, stderr=out, env=environment, cwd=ROOT) as server,
    ):
        try:
            base = f"http://localhost:{port}"
            wait_for_health(base, log)
            yield base
        finally:
            server.terminate()


def first_picture_s(page, address: str, limit_s: float = 40) -> float:
    """Open an address and say after how many seconds its first picture was drawn."""
    page.add_init_script(NOTE_FIRST_PICTURE)
    page.goto(address, wait_until="commit")
    page.wait_for_function("() => window.firstPictureMs !== undefined", polling=50, timeout=limit_s * 1000)
    return page.evaluate("window.firstPictureMs") / 1000


def settle(page, quiet_ms: int = 700, limit_s: float = 40) -> None:
    """Wait until the script has run and the page has not changed for a while, nor been left for another."""
    from playwright.sync_api import Error  # noqa: PLC0415 - only browser tests need it

    page.wait_for_selector('[data-testid="stMain"] h1, [data-testid="stMain"] p', timeout=limit_s * 1000)
    page.wait_for_function(
        """() => {
            const app = document.querySelector('[data-testid="stApp"]');
            return app && app.getAttribute('data-test-script-state') === 'notRunning'
                && !document.querySelector('[data-testid="stSkeleton"]');
        }""",
        timeout=limit_s * 1000,
    )
    last, since = None, time.monotonic()
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        try:
            now = page.evaluate("document.querySelector('[data-testid=\"stMain\"]')?.innerHTML.length")
        except Error as error:
            if "context was destroyed" not in str(error):  # it was: a sign-in goes on to the next page
                raise
            now = None
        if now is None or now != last:
            last, since = now, time.monotonic()
        elif (time.monotonic() - since) * 1000 >= quiet_ms:
            return
        page.wait_for_timeout(100)


def errors_of(page) -> list[str]:
    """What goes wrong in a page's scripts from now on, in words; filled as it happens.

    On a deep link Streamlit first asks for its own two service addresses under the page's path, is told 404,
    and then finds them at the root: those are left out.
    """
    said: list[str] = []

    def note(message) -> None:
        address = message.location.get("url", "")
        if message.type == "error" and "/_stcore/" not in address:
            said.append(f"{message.text} {address}")

    page.on("console", note)
    page.on("pageerror", lambda error: said.append(str(error)))
    return said


def problems(page, said: list[str]) -> list[str]:
    """What is wrong with a page that has settled, of which scripts have `said` errors."""
    width = page.viewport_size["width"]
    name = page.url.split("?")[0].rsplit("/", 1)[1]
    drawn = page.evaluate(
        "Math.max(0, ...[...document.querySelectorAll('.stVegaLiteChart canvas, .stVegaLiteChart svg')]"
        ".map(c => c.getBoundingClientRect().right))"
    )
    found = {
        "an exception box": page.locator('[data-testid="stException"]').count() > 0,
        "wider than the screen": page.evaluate("document.scrollingElement.scrollWidth") > width + 2,
        f"a picture is cut at the right edge ({drawn:.0f} px)": drawn > width + 2,
        "no title": page.locator('[data-testid="stMain"] h1').count() == 0,
        "no picture": name in PICTURED and page.locator(PICTURE).count() == 0,
    }
    return [f"{problem}, {width} px" for problem, there in found.items() if there] + said


class Hand:
    """Somebody at the page, whose taps and filled fields are counted."""

    def __init__(self, page):
        self.page, self.clicks = page, 0

    def fill(self, label, text):
        self.page.get_by_label(label).fill(text, timeout=LIMIT_MS)
        self.clicks += 1

    def tap(self, found):
        found.click(timeout=LIMIT_MS)
        self.clicks += 1

    def button(self, name):
        self.tap(self.page.get_by_role("button", name=name, exact=True))

    def drop(self, name, data):
        file = {"name": name, "mimeType": "text/csv", "buffer": data}
        self.page.locator("input[type=file]").set_input_files([file])
        self.clicks += 2  # the button, and the file
