"""Running the pages, and beside them what loads the inbox: both end with the command."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path

from dashboard import theme
from warehouse.home import Home

ROOT = Path(__file__).parents[1]
LAST_LOAD_S = 10.0


def streamlit(options: Mapping[str, object]) -> list[str]:
    """The command that serves the pages on this machine, in their colours, with more `options`."""
    own: dict[str, object] = {"server.address": "localhost", "browser.gatherUsageStats": False}
    values = {**own, **theme.STREAMLIT, **options}
    said = {name: str(v).lower() if isinstance(v, bool) else v for name, v in values.items()}
    given = [f"--{name}={value}" for name, value in said.items()]
    return [sys.executable, "-m", "streamlit", "run", str(ROOT / "dashboard" / "app.py"), *given]


def run_pages(
    home: Home, port: int, *, browser: bool, beside: Callable[[threading.Event], None] | None = None
) -> None:
    """Serve the pages on this machine until they are ended; whatever ends this call ends them too.

    `beside` runs on a thread until its event is set. A load that is cut off at the end loses nothing.
    """
    call = streamlit({"server.port": port, "server.headless": not browser, "client.showErrorDetails": "none"})
    environment = {**os.environ, "UNDERFOOT_HOME": str(home.path), "PYTHONPATH": str(ROOT)}
    ended = threading.Event()
    thread = None if beside is None else threading.Thread(target=beside, args=(ended,), daemon=True)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    if thread is not None:
        thread.start()
    try:
        subprocess.run(call, check=False, env=environment, cwd=ROOT)  # noqa: S603 - our own fixed command
    finally:
        ended.set()
        if thread is not None:
            thread.join(timeout=LAST_LOAD_S)
