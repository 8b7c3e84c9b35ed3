"""Running the pages, and beside them what loads the inbox: both end with the command."""

import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path

from dashboard import theme
from dashboard.terminal import err, out
from dashboard.text.catalogue import _
from warehouse.errors import UnderfootError
from warehouse.home import Home

ROOT = Path(__file__).parents[1]
LAST_LOAD_S = 10.0
MOST_PORTS = 65535


def streamlit(options: Mapping[str, object]) -> list[str]:
    """The command that serves the pages on this machine, in their colours, with more `options`."""
    own: dict[str, object] = {
        "server.address": "localhost",
        "browser.gatherUsageStats": False,
        # The watcher looks at every module on the thread that also answers visitors; they had to wait.
        "server.fileWatcherType": "none",
        # On its first run it asks for an e-mail address at the terminal, and waits for the answer.
        "server.showEmailPrompt": False,
    }
    values = {**own, **theme.STREAMLIT, **options}
    said = {name: str(v).lower() if isinstance(v, bool) else v for name, v in values.items()}
    given = [f"--{name}={value}" for name, value in said.items()]
    return [sys.executable, "-m", "dashboard.server", "run", str(ROOT / "dashboard" / "app.py"), *given]


def _check_port(port: int) -> None:
    """Make sure that the pages can be served at this port.

    Raises
        UnderfootError: another program is there, or this user may not use it.
    """
    with socket.socket() as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # one that was just let go is free
        try:
            trial.bind(("localhost", port))
        except OSError as error:
            sentence = _(
                "The dashboard can't use port {port} ({why}): end the program that uses it, or choose "
                "another port, as in: underfoot serve --port {other}"
            )
            other = port % MOST_PORTS + 1
            raise UnderfootError(sentence.format(port=port, why=error.strerror, other=other)) from error


def run_pages(
    home: Home, port: int, *, browser: bool, beside: Callable[[threading.Event], None] | None = None
) -> None:
    """Serve the pages on this machine until they are ended; whatever ends this call ends them too.

    `beside` runs on a thread until its event is set. A load that is cut off at the end loses nothing.

    Raises
        UnderfootError: the port is taken, or the server ended by itself because of an error.
    """
    _check_port(port)
    out.print(_("The dashboard is at {address} (Ctrl-C ends it).").format(address=f"http://localhost:{port}"))
    call = streamlit({"server.port": port, "server.headless": not browser, "client.showErrorDetails": "none"})
    environment = {**os.environ, "UNDERFOOT_HOME": str(home.path), "PYTHONPATH": str(ROOT)}
    ended = threading.Event()
    thread = None if beside is None else threading.Thread(target=beside, args=(ended,), daemon=True)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    if thread is not None:
        thread.start()
    try:
        server = subprocess.run(call, check=False, env=environment, cwd=ROOT)  # noqa: S603 - our own fixed command
    except KeyboardInterrupt:
        err.print(_("Closed."))
        return
    finally:
        ended.set()
        if thread is not None:
            thread.join(timeout=LAST_LOAD_S)
    if server.returncode:
        sentence = _("The dashboard ended by itself, with exit code {code}; what it printed says why.")
        raise UnderfootError(sentence.format(code=server.returncode))
