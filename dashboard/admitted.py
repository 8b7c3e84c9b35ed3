"""Visitors whose browser was let in, by the printed address or an invitation (see `entrance`)."""

import hashlib
from dataclasses import dataclass

from dashboard import elements as st
from dashboard import readers
from dashboard.location import is_here
from dashboard.text.catalogue import _, mark
from warehouse import browsers
from warehouse.access import Reader
from warehouse.browsers import Browser
from warehouse.errors import AccessError
from warehouse.home import Home
from warehouse.publishing import is_published

NOT_SIGNED_IN = mark(
    "This browser is not signed in. On the machine that serves these pages, open the address that "
    "underfoot serve printed (start it again for a new one); anywhere else, ask the head coach for an "
    "invitation."
)
NO_HEAD_COACH = mark(
    "The roster has no head coach to look as; name somebody else, as in: underfoot serve --as c02"
)
ENDED = mark("This sign-in has ended; sign out and sign in again.")


@dataclass(frozen=True)
class InBrowser:
    """Whoever uses a browser that was let in."""

    key: str
    person: str | None  # None: the head coach

    def reader(self, home: Home) -> Reader:
        """As of `Visitor`; a browser that is refused after it has opened a page has ended."""
        person = self.person or readers.head_coach(home)
        if person is None:
            raise AccessError(_(NO_HEAD_COACH))
        try:
            found = readers.reader(home, person)
        except AccessError as refusal:
            if self.person is not None:
                browsers.end(home, self.key, str(refusal))
            raise
        if not browsers.is_open(home, self.key, person, found.viewer.role):
            raise AccessError(_(ENDED))
        return found.by(lambda: self.reader(home))


@dataclass(frozen=True)
class Starter:
    """Whoever started the pages of a home that has no academy yet, on this machine."""

    home: Home
    secret: str

    def check(self) -> None:
        """As of `Founder`.

        Raises
            AccessError: their sign-in has ended.
        """
        found = browsers.find(self.home, self.secret)
        if found is None or not found.on_this_machine:
            raise AccessError(_(ENDED))


def founder(home: Home) -> Starter:
    """Whoever may make the academy.

    Raises
        AccessError: the visitor did not start the pages.
    """
    if browser(home) is None or not is_here():
        raise AccessError(_(NOT_SIGNED_IN))
    starter = Starter(home, _secret(home))
    starter.check()
    return starter


def is_new(home: Home) -> bool:
    """Whether a home has no academy to show yet; the demo says itself what it lacks."""
    if home.settings_file.exists() and home.settings().demo:
        return False
    return not (readers.is_founded(home) and is_published(home))


def browser(home: Home) -> Browser | None:
    """The visitor's browser, if it was let in; one let in for this machine counts nowhere else."""
    found = browsers.find(home, _secret(home))
    if found is not None and found.on_this_machine and not is_here():
        return None
    return found


def _secret(home: Home) -> str:
    return st.context.cookies.get(cookie_name(home)) or ""


def cookie_name(home: Home) -> str:
    """The cookie of a home's pages: several homes may be served on one machine, which share their cookies."""
    return f"underfoot_{hashlib.sha256(str(home.path).encode()).hexdigest()[:12]}"
