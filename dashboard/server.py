"""The server of the pages, with Streamlit's options.

Everything the pages need is imported before the first visitor comes. Otherwise the first visitors' threads
import pandas at the same moment, and one of them may be given a half-made module: an exception box.
"""

import asyncio
import base64
import gc
import hashlib
import json
import os
import re
import threading
import time
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import altair as alt
import pandas as pd  # noqa: F401 - Streamlit and Altair import it only when a table or picture is shown
import streamlit as st
import streamlit.delta_generator
import streamlit.emojis  # the same for the icon of a page
import uvicorn
from starlette.requests import Request
from streamlit.auth_util import get_cookie_with_chunks
from streamlit.runtime.pages_manager import PagesManager
from streamlit.web.server.server_util import get_cookie_secret
from streamlit.web.server.starlette.starlette_app_utils import decode_signed_value
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

from dashboard import entrance, previews, readers, turns, uploads
from dashboard.app import PAGES
from dashboard.pages.week.content import review
from dashboard.pages.week.safety_lines import safety_lines
from dashboard.text.catalogue import use
from warehouse import sign_ins
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.preview import Look
from warehouse.publishing import current_name, is_published

Message = MutableMapping[str, Any]
Send = Callable[[Message], Awaitable[None]]
Receive = Callable[[], Awaitable[Message]]
APP = Path(__file__).with_name("app.py")
SIGN_OUT = "/auth/logout"
LOOK_EVERY_S = 1.0  # for a new snapshot
NO_UPLOAD = b"Sign in first; only then are files taken in."


def _inline_scripts() -> str:
    """The hashes of the scripts that stand in Streamlit's own page."""
    page = (Path(st.__file__).parent / "static" / "index.html").read_text(encoding="utf-8")
    hashes = [
        hashlib.sha256(script.encode()).digest()
        for script in re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    ]
    return " ".join(f"'sha256-{base64.b64encode(digest).decode()}'" for digest in hashes)


# What a page may run and fetch: what comes from this server, and nothing from elsewhere. The exceptions:
# - script: the one line in Streamlit's page, by its hash; `blob:`, as Streamlit so hands the note form
#   and the film player their scripts. Only a script that runs already can make a blob.
# - style: inline, as Streamlit and Vega write it while the page runs.
# - img, font, media: `data:` and `blob:`, for what is made on the page; films are sent with it.
# - worker: `blob:`, as tables do their work beside the page.
CONTENT = {
    "default-src": "'none'",
    "script-src": f"'self' blob: {_inline_scripts()}",
    "style-src": "'self' 'unsafe-inline'",
    "img-src": "'self' data: blob:",
    "font-src": "'self' data:",
    "media-src": "'self' data: blob:",
    "connect-src": "'self'",
    "worker-src": "'self' blob:",
    "manifest-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "object-src": "'none'",
    "frame-ancestors": "'none'",
}
HEADERS = {
    "content-security-policy": "; ".join(f"{kind} {sources}" for kind, sources in CONTENT.items()),
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}


def end_sign_in(cookies: Mapping[str, str]) -> None:
    """End the sign-in that these cookies are of: Streamlit's own address to sign out only takes them back.

    Raises
        UnderfootError: the sign-ins can't be read or written.
    """

    def signed(name: str) -> bytes | None:
        value = cookies.get(name)
        if value is None:
            return None
        return decode_signed_value(get_cookie_secret(), name, value.encode("latin-1"))

    found = get_cookie_with_chunks(signed, USER_COOKIE_NAME)
    if found:
        sign_ins.end(readers.home(), json.loads(found))


class Pages(st.App):
    """The pages; every answer carries `HEADERS`, and files are taken in only from who has signed in."""

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer one request."""

        async def guarded(message: Message) -> None:
            if message["type"].endswith("http.response.start"):
                kept = [
                    (name, value)
                    for name, value in message["headers"]
                    if name.decode().lower() not in HEADERS
                ]
                own = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
                message = {**message, "headers": kept + own}
            await send(message)

        if scope["type"] == "http" and uploads.refused(scope["method"], scope["path"], scope["headers"]):
            plain = [(b"content-type", b"text/plain"), (b"connection", b"close")]
            await guarded({"type": "http.response.start", "status": 403, "headers": plain})
            await guarded({"type": "http.response.body", "body": NO_UPLOAD})
            return
        if scope["type"] == "http" and scope["path"].rstrip("/").endswith(SIGN_OUT):
            await asyncio.to_thread(end_sign_in, Request(scope).cookies)
        await super().__call__(scope, receive, guarded)


def _open(home: Home) -> None:
    """Open what is published, and make what takes longest of the head coach's first page.

    It is kept with the head coach's own reader, so nobody else is shown any of it.
    """
    with suppress(UnderfootError, OSError), turns.turn():
        use(home.settings().language)
        person = readers.head_coach(home)
        if person is not None:
            reader = readers.reader(home, person)
            review(reader)
            safety_lines(reader)


def _follow(home: Home, opened: str | None) -> None:
    """Open each snapshot as it is published, so that no visitor has to wait for that."""
    while True:
        time.sleep(LOOK_EVERY_S)
        with suppress(UnderfootError):  # nothing is published
            newest = current_name(home)
            if newest != opened:
                _open(home)
                opened = newest


def serve(options: str, look: Look) -> None:
    """Serve the pages until the process ends, with options as JSON; `look` reads what is brought to them."""
    for page in PAGES:
        page.load()
    previews.use(look)
    home = readers.home()
    previews.sweep(home)
    # Where a connection comes from is what its socket says; a header could say anything.
    os.environ["FORWARDED_ALLOW_IPS"] = ""
    alt.utils.schemapi.disable_debug_mode()  # the tests check every picture against its schema
    # dashboard/pages holds no scripts; the first visitor by a deep link would be told there is no such page.
    PagesManager.uses_pages_directory = False
    # The command says where the pages are.
    uvicorn.config.LOGGING_CONFIG["loggers"]["uvicorn"]["level"] = "WARNING"
    # Streamlit would read the source of all that runs, to see whether the first element is shown at a prompt.
    streamlit.delta_generator._use_warning_has_been_displayed = True  # noqa: SLF001
    opened = current_name(home) if is_published(home) else None
    _open(home)
    # What is imported by now stays until the end, so it need not be looked through for what is out of use.
    gc.collect()
    gc.freeze()
    threading.Thread(target=_follow, args=(home, opened), daemon=True).start()
    Pages(APP, routes=entrance.ROUTES).run(config=json.loads(options))
