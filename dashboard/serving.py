"""Running the pages, and beside them what loads the inbox: both end with the command."""

import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import threading
import webbrowser
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from http import HTTPStatus
from http.client import HTTPException
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import urlopen

from dashboard import theme
from dashboard.terminal import err, out
from dashboard.text.catalogue import _
from warehouse import browsers
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home

ROOT = Path(__file__).parents[1]
ADDRESS = "UNDERFOOT_ADDRESS"  # the environment's name for where the pages are
LAST_LOAD_S = 10.0
ASKED_EVERY_S, ANSWER_LIMIT_S = 0.1, 2.0
MOST_PORTS = 65535
_SERVE = "import sys; from underfoot import serve_pages; serve_pages(sys.argv[1])"


def streamlit(options: Mapping[str, object]) -> list[str]:
    """The command that serves the pages on this machine, in their colours, with more Streamlit `options`."""
    own: dict[str, object] = {
        "server.address": "localhost",
        "browser.gatherUsageStats": False,
        # The watcher looks at every module on the thread that also answers visitors; they had to wait.
        "server.fileWatcherType": "none",
        # Otherwise it asks for an e-mail address at the terminal, lays notices of its own over the pages on
        # its first run, and says a second time where they are. The command opens the browser itself.
        "server.headless": True,
        "server.showEmailPrompt": False,
        "logger.hideWelcomeMessage": True,
        "client.toolbarMode": "minimal",
        # After each run Streamlit looks through every object there is for some that are out of use, which
        # took longer than the run itself; Python does so by itself as they grow more.
        "runner.postScriptGC": False,
        # It reads each page's code anew for lone expressions to show, and none of ours are to be shown.
        "runner.magicEnabled": False,
    }
    return [sys.executable, "-c", _SERVE, json.dumps({**own, **theme.STREAMLIT, **options})]


def _check_port(port: int) -> None:
    """Make sure that the pages can be served at this port."""
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


@dataclass(frozen=True)
class Place:
    """Where the pages are: a port of this machine, and from elsewhere over TLS alone.

    With `tls` (certificate and key) the pages themselves speak TLS, at every address of the machine. With
    `address` alone, a proxy on this machine does, and passes on what comes to that address.
    """

    port: int
    tls: tuple[Path, Path] | None = None
    address: str | None = None

    @property
    def is_public(self) -> bool:
        """Whether the pages can be reached from elsewhere."""
        return self.tls is not None or self.address is not None

    @property
    def here(self) -> str:
        """The address on this machine."""
        return f"{'https' if self.tls else 'http'}://localhost:{self.port}"

    @property
    def public(self) -> str:
        """The address that others use."""
        if self.address is not None:
            return self.address.rstrip("/")
        return f"https://{socket.getfqdn()}:{self.port}" if self.tls else self.here

    def options(self) -> dict[str, object]:
        """Streamlit's options for it."""
        found: dict[str, object] = {"server.port": self.port}
        if self.tls is not None:
            certificate, key = map(str, self.tls)
            found |= {"server.sslCertFile": certificate, "server.sslKeyFile": key}
            found["server.address"] = "0.0.0.0"  # noqa: S104 - what --tls asks for
        if self.is_public:
            found["browser.serverAddress"] = urlsplit(self.public).hostname
        return found

    def check(self) -> None:
        """Make sure that the pages can be served there.

        Raises
            CallError: the address is not an https address.
            UnderfootError: the port is taken, or certificate and key don't belong together.
        """
        if self.address is not None and urlsplit(self.address).scheme != "https":
            sentence = _(
                "{address} is not an https address; beyond this machine the pages are served over TLS alone."
            )
            raise CallError(sentence.format(address=self.address))
        if self.tls is not None:
            try:
                ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(*self.tls)
            except (OSError, ssl.SSLError) as error:
                sentence = _(
                    "{cert} and {key} are not a certificate and its key ({why}); give both as PEM files."
                )
                raise UnderfootError(
                    sentence.format(
                        cert=self.tls[0], key=self.tls[1], why=error.strerror or type(error).__name__
                    )
                ) from error
        _check_port(self.port)


def run_pages(
    home: Home,
    place: Place,
    *,
    browser: bool,
    person: str | None = None,
    beside: Callable[[threading.Event], None] | None = None,
) -> None:
    """Serve the pages until they are ended; whatever ends this call ends them too.

    Once they answer, says where they are and, with `browser`, opens them: as `person`, else the head coach.
    `beside` runs on a thread until its event is set. A load that is cut off at the end loses nothing.

    Raises
        UnderfootError: as of `Place.check`; or the server ended by itself because of an error.
    """
    place.check()
    call = streamlit({**place.options(), "client.showErrorDetails": "none"})
    environment = {
        **os.environ, "UNDERFOOT_HOME": str(home.path), ADDRESS: place.public, "PYTHONPATH": str(ROOT),
    }  # fmt: skip
    ended = threading.Event()
    threads = [
        threading.Thread(
            target=_announce, args=(home, place, person, ended), kwargs={"browser": browser}, daemon=True
        )
    ]
    if beside is not None:
        threads.append(threading.Thread(target=beside, args=(ended,), daemon=True))
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    for thread in threads:
        thread.start()
    try:
        server = subprocess.run(call, check=False, env=environment, cwd=ROOT)  # noqa: S603 - our own fixed command
    except KeyboardInterrupt:
        err.print(_("Closed."))
        return
    finally:
        ended.set()
        for thread in threads:
            thread.join(timeout=LAST_LOAD_S)
    if server.returncode:
        sentence = _("The dashboard ended by itself, with exit code {code}; what it printed says why.")
        raise UnderfootError(sentence.format(code=server.returncode))


def _announce(home: Home, place: Place, person: str | None, ended: threading.Event, *, browser: bool) -> None:
    """Once the pages answer, say where they are; open them where somebody sits in front of a screen."""
    while not _answers(place.here):
        if ended.wait(ASKED_EVERY_S):
            return
    address = place.public
    if place.is_public or (home.settings_file.exists() and home.settings().demo):
        said = _("The dashboard is at {address} (Ctrl-C ends it).")
    else:
        token = browsers.invite(home, person, browsers.START_GOOD, on_this_machine=True)
        address = f"{address}/start?key={token}"
        said = _(
            "The dashboard is at {address} (it works once, in the next {minutes} minutes; "
            "Ctrl-C ends the dashboard)."
        )
    minutes = int(browsers.START_GOOD.total_seconds() // 60)
    out.print(said.format(address=address, minutes=minutes), soft_wrap=True)
    if browser and sys.stdout.isatty() and _has_display():
        with suppress(webbrowser.Error):
            webbrowser.open(address)


def _answers(address: str) -> bool:
    try:
        # It is our own server that is asked; its certificate is for the name that others use.
        unchecked = ssl.create_default_context()
        unchecked.check_hostname, unchecked.verify_mode = False, ssl.CERT_NONE
        with urlopen(f"{address}/_stcore/health", timeout=ANSWER_LIMIT_S, context=unchecked) as answer:  # noqa: S310
            return bool(answer.status == HTTPStatus.OK)
    except (OSError, HTTPException):
        return False


def _has_display() -> bool:
    return sys.platform in {"darwin", "win32"} or any(map(os.environ.get, ("DISPLAY", "WAYLAND_DISPLAY")))
