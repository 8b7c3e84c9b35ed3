"""A crowd of viewers: each opens a page over Streamlit's own WebSocket, as a browser does, and reads to its end.

A browser for each viewer would need more processor time than the server that is being tested.
"""

import asyncio
import contextlib
import os
import shutil
import signal
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode
from urllib.request import urlopen

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import connect

import browser
import made_swings as made
from dashboard.app import PAGES
from warehouse.home import Home
from warehouse.publishing import current_name

VISIT_LIMIT_S, ALONE_LIMIT_S = 60.0, 20.0
MAIN = 0  # the root of the main part of a page; the others are the sidebar and what floats


@dataclass
class Visit:
    """What one viewer was given: `kinds` are the kinds of element in the main part of the page."""

    page: str
    title: str = ""
    kinds: set[str] = field(default_factory=set)
    exceptions: list[str] = field(default_factory=list)
    first_content_s: float | None = None  # until the first element after the title
    finished_s: float | None = None

    def problem(self, alone: "Visit") -> str:
        """What is wrong beside the same page opened `alone`; empty where nothing is."""
        if self.exceptions:
            return f"{self.page}: an exception box: {self.exceptions[0]}"
        if self.finished_s is None:
            return f"{self.page}: not finished (title “{self.title}”)"
        if self.title != alone.title:
            return f"{self.page}: the title “{self.title}” instead of “{alone.title}”"
        missing = alone.kinds - self.kinds
        return f"{self.page}: without {', '.join(sorted(missing))}" if missing else ""


async def _visit(base: str, page: str, query: dict[str, str], limit_s: float) -> Visit:
    seen, started = Visit(page), time.monotonic()
    with contextlib.suppress(TimeoutError, OSError):
        async with asyncio.timeout(limit_s):
            address = f"{base.replace('http', 'ws', 1)}/_stcore/stream"
            async with connect(
                address, subprotocols=["streamlit"], max_size=None, ping_interval=None, close_timeout=1,
                open_timeout=limit_s, proxy=None,
            ) as socket:  # fmt: skip
                ask = BackMsg()
                ask.rerun_script.page_name = page
                ask.rerun_script.query_string = urlencode(query)
                ask.rerun_script.context_info.url = f"{base}/{page}"
                await socket.send(ask.SerializeToString())
                while seen.finished_s is None:
                    _take_in(seen, ForwardMsg.FromString(await socket.recv()), time.monotonic() - started)
    return seen


def _take_in(seen: Visit, message: ForwardMsg, now_s: float) -> None:
    kind = message.WhichOneof("type")
    if kind == "script_finished" and message.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY:
        seen.finished_s = now_s
    if kind != "delta" or message.delta.WhichOneof("type") != "new_element":
        return
    element = message.delta.new_element
    shown = str(element.WhichOneof("type"))
    if shown == "exception":
        seen.exceptions.append(element.exception.message)
    if message.metadata.delta_path[0] != MAIN:
        return
    seen.kinds.add(shown)
    if shown == "heading" and element.heading.tag == "h1":
        seen.title = element.heading.body
    elif seen.title and seen.first_content_s is None:
        seen.first_content_s = now_s


def wave(base: str, visits: Sequence[tuple[str, dict[str, str]]], limit_s: float) -> list[Visit]:
    """So many viewers at the same moment, one for each page and its address; each within `limit_s`."""

    async def together() -> list[Visit]:
        return await asyncio.gather(*(_visit(base, page, query, limit_s) for page, query in visits))

    return asyncio.run(together())


class Health:
    """How long the server's health address took to answer at worst, asked several times a second."""

    def __init__(self, base: str, limit_s: float = 30.0) -> None:
        self.max_s = 0.0
        self._address, self._limit_s, self._ended = f"{base}/_stcore/health", limit_s, threading.Event()

    def _ask(self) -> None:
        while not self._ended.wait(0.2):
            started = time.monotonic()
            try:
                with urlopen(self._address, timeout=self._limit_s) as answer:
                    answer.read()
                self.max_s = max(self.max_s, time.monotonic() - started)
            except OSError:
                self.max_s = max(self.max_s, self._limit_s)

    @contextlib.contextmanager
    def watched(self) -> Iterator["Health"]:
        """Ask until the block ends."""
        asking = threading.Thread(target=self._ask, daemon=True)
        asking.start()
        try:
            yield self
        finally:
            self._ended.set()
            asking.join(timeout=self._limit_s)


@dataclass(frozen=True)
class Crowd:
    """What came of all waves: the visits, what was wrong with each (in order), and the slowest health answer."""

    visits: list[Visit]
    problems: list[str]
    health_max_s: float
    publications: int
    page_cpu_s: float  # of the server, for a page that has been opened before, from connecting to its end

    @property
    def served(self) -> int:
        """How many were given their page, whole."""
        return sum(not problem for problem in self.problems)

    @property
    def p95_first_content_s(self) -> float:
        """The 95th percentile of the time until the first content; whoever saw none waited to the limit."""
        waited = [VISIT_LIMIT_S if v.first_content_s is None else v.first_content_s for v in self.visits]
        return statistics.quantiles(waited, n=20, method="inclusive")[-1]

    def __str__(self) -> str:
        return (
            f"{self.served} of {len(self.visits)} served, first content p95 {self.p95_first_content_s:.2f} s, "
            f"health at worst {self.health_max_s:.2f} s, {self.publications} publications meanwhile, "
            f"{1000 * self.page_cpu_s:.0f} ms of processor a page seen before"
        )


@contextlib.contextmanager
def serving(home: Home, log: Path) -> Iterator[str]:
    """`underfoot serve` with its loader, as a head coach starts it; yields the address."""
    port = browser.free_port()
    call = [
        sys.executable,
        "-m",
        "underfoot",
        "serve",
        "--no-browser",
        "--port",
        str(port),
        "--home",
        str(home.path),
    ]
    environment = {**os.environ, "PYTHONPATH": str(browser.ROOT)}
    with (
        log.open("w") as out,
        subprocess.Popen(call, stdout=out, stderr=out, env=environment, cwd=browser.ROOT) as server,
    ):
        try:
            base = f"http://localhost:{port}"
            browser.wait_for_health(base, log)
            yield base
        finally:
            server.send_signal(signal.SIGTERM)


def look_together(demo: Path, folder: Path, viewers: int, waves: int, enough_s: float = 0.0) -> Crowd:
    """Waves of viewers over every page of the demo's head coach, the first on a server that just started.

    Each wave comes while a session is being loaded and published. Then each page is opened alone, which says
    what the others should have been given. `demo`: a demo academy; it is copied, as the loader writes to it.
    A page's processor time is the least of four rounds, or the first under `enough_s`.
    """
    home, visits, pages = Home(folder / "academy"), [], [page.path for page in PAGES]
    shutil.copytree(demo, home.path, symlinks=True)
    started_with = current_name(home)
    with serving(home, folder / "server.log") as base, Health(base).watched() as health:
        for number in range(waves):
            _deliver(home, folder, number)
            together = [(pages[(number + k) % len(pages)], {}) for k in range(viewers)]
            visits += wave(base, together, VISIT_LIMIT_S)
        alone = {page: wave(base, [(page, {})], ALONE_LIMIT_S)[0] for page in pages}
        rounds = []
        while len(rounds) < 4 and min(rounds, default=enough_s) >= enough_s:
            rounds.append(_page_cpu_s(base, pages))  # a load may still publish, as if none was seen
    publications = _number(current_name(home)) - _number(started_with)
    problems = [visit.problem(alone[visit.page]) for visit in visits]
    return Crowd(visits, problems, health.max_s, publications, min(rounds))


def _page_cpu_s(base: str, pages: Sequence[str]) -> float:
    """Processor time of the server for a page, when all of them are opened together."""
    before = _processor_s(base)
    wave(base, [(page, {}) for page in pages], VISIT_LIMIT_S)
    return (_processor_s(base) - before) / len(pages)


def _processor_s(base: str) -> float:
    """Processor time that the server of an address has had (Linux's /proc; proc(5))."""
    port = f'"server.port": {base.rsplit(":", 1)[1]}'.encode()
    for process in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            command = (process / "cmdline").read_bytes()
            if b"serve_pages" in command and port in command:
                ticks = (process / "stat").read_text().rsplit(")", 1)[1].split()[11:13]
                return sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")
    raise LookupError(base)


def _deliver(home: Home, folder: Path, number: int) -> None:
    """Drop a session of one swing in the inbox, whole at once."""
    toml = made.session_toml(
        f"crowd-{number}", student="s012", coach="c03", device="mat-east",
        started_at=f"2026-10-05T{8 + number:02d}:00:00+01:00",
    )  # fmt: skip
    ready = made.write_session(folder / "next", toml, made.swing_frame(seed=number))
    ready.rename(home.inbox / f"crowd-{number}")


def _number(snapshot: str) -> int:
    return int("".join(letter for letter in snapshot if letter.isdigit()))
