"""Where a visitor is: on the machine that serves the pages, or elsewhere."""

import os
from collections.abc import Iterable, Mapping

from dashboard import elements as st
from dashboard.serving import ADDRESS

LOOPBACK = ("localhost", "127.0.0.1", "::1")
# Whoever passes a request on for somebody says so in one of these; that somebody may be anywhere.
_PASSED_ON = ("forwarded", "via", "x-real-ip", "x-forwarded-", "x-original-", "cf-", "true-client-ip")


def is_here() -> bool:
    """Whether the visitor is on the machine that serves the pages."""
    return on_this_machine(st.get_option("server.address"), peer(), st.context.headers)


def is_encrypted() -> bool:
    """Whether visitors reach the pages over TLS, their own or that of the proxy in front of them."""
    return address().startswith("https://")


def address() -> str:
    """Where the pages are, as `underfoot serve` has said."""
    return os.environ.get(ADDRESS, "http://localhost:8501")


def on_this_machine(address: str | None, peer: str | None, headers: Mapping[str, str]) -> bool:
    """Whether a page is asked for on this machine itself.

    That is so where the pages are served on the loopback address only and the connection comes from there
    (`peer` null: as Streamlit says so). A header can only speak against it: of a name that is not this
    machine's, or of somebody the request is passed on for.
    """
    if address not in LOOPBACK or peer not in (None, *LOOPBACK) or _is_passed_on(headers):
        return False
    host = next((value for name, value in headers.items() if name.lower() == "host"), None)
    if not host:
        return True
    name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
    return name.strip("[]") in LOOPBACK


def _is_passed_on(headers: Iterable[str]) -> bool:
    return any(name.lower().startswith(_PASSED_ON) for name in headers)


def peer() -> str | None:
    """Where the connection comes from; null: from this machine's loopback address."""
    return st.context.ip_address
