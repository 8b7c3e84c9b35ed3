"""Links to one student's progress page: signed, good for some days, and ended at any time.

A link carries the student, when it was made and until when it is good, signed by itsdangerous with the home's
own key (HMAC-SHA-256). Ending a student's links records the moment: older ones are dead. A link shows nothing
that the student's own page does not, and only while a consent to share it holds.
"""

import hashlib
import json
import secrets
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from itsdangerous import BadData, URLSafeSerializer

from warehouse import consent
from warehouse.errors import AccessError, CallError
from warehouse.forgotten import forgotten_at
from warehouse.home import Home, home_key, write_synced
from warehouse.reach import viewer_of
from warehouse.store import Snapshot, open_snapshot

KEY, ENDED = "links.key", "links_ended.json"
MOST_DAYS = 400
_PAGE = "progress page"  # what a link is signed for
NOT_GOOD = "This link is not valid; ask the academy for a new one."
OVER = "This link has ended; ask the academy for a new one."
NOT_SHARED = "This page is not shared by link now; ask the academy."


@dataclass(frozen=True)
class Link:
    """A link as read: whose page, a name for the access log, made and good until (seconds since 1970)."""

    student: str
    name: str
    made: float
    until: float


def make_link(home: Home, student: str, days: int, *, now: datetime | None = None) -> str:
    """A link's token for a student's page.

    Raises
        CallError: not 1 to 400 days, no such student, or no consent to share their page.
    """
    if not 1 <= days <= MOST_DAYS:
        raise CallError(f"A link is good for 1 to {MOST_DAYS} days, not {days}; name another number.")
    snapshot = open_snapshot(home)
    try:
        viewer = viewer_of(snapshot, student, _day(home, now))
        if viewer is None or viewer.role != "student":
            raise CallError(f"{student} is no student of the academy today; name one of people.csv.")
        if not shared(home, snapshot, student, now):
            raise CallError(
                f"No consent to share_page covers {student} today, or the one to family_page has ended; "
                "add it to consents.csv and load that file."
            )
    finally:
        snapshot.close()
    at = (now or datetime.now(UTC)).replace(microsecond=0)
    until = at + timedelta(days=days)
    link = {"s": student, "n": secrets.token_hex(4), "m": at.timestamp(), "u": until.timestamp()}
    return signed(home, _PAGE, link)


def read_link(home: Home, snapshot: Snapshot, token: str, *, now: datetime | None = None) -> Link:
    """Check a token and read the link in it.

    Raises
        AccessError: it is not one of ours, has run out, was ended, or its page is no longer shared.
    """
    found = unsigned(home, _PAGE, token)
    link = Link(found["s"], found["n"], found["m"], found["u"])
    at = (now or datetime.now(UTC)).timestamp()
    ended = max(_ended(home).get(link.student, float("-inf")), forgotten_at(home, link.student))
    if at >= link.until or link.made <= ended:
        raise AccessError(OVER)
    if not shared(home, snapshot, link.student, now):
        raise AccessError(NOT_SHARED)
    return link


def end_links(home: Home, student: str, *, now: datetime | None = None) -> None:
    """End every link to a student's page that was made so far."""
    home.settings()
    at = (now or datetime.now(UTC)).timestamp()
    write_synced(home.path / ENDED, json.dumps(_ended(home) | {student: at}, indent=2) + "\n")


def shared(home: Home, snapshot: Snapshot, student: str, now: datetime | None = None) -> bool:
    """Whether this student's page may be shared today: by link, and with the family at all."""
    settings, day = home.settings(), _day(home, now)
    given = consent.given(snapshot, student, "share_page", day, settings)
    return given and (student, "family_page") not in consent.withheld(snapshot, day, settings)


def _day(home: Home, now: datetime | None) -> date:
    return (now or datetime.now(UTC)).astimezone(home.settings().zone).date()


def _ended(home: Home) -> dict[str, float]:
    with suppress(FileNotFoundError):
        ended = json.loads((home.path / ENDED).read_text("utf-8"))
        return {str(student): float(at) for student, at in ended.items()}
    return {}


def signed(home: Home, use: str, value: object) -> str:
    """A value as a token, signed with the home's own key and good for no other use."""
    return str(_signer(home, use).dumps(value))


def unsigned(home: Home, use: str, token: str) -> Any:
    """The value of a token.

    Raises
        AccessError: it is not one of ours, or was made for another use.
    """
    if not (home.path / KEY).is_file():
        raise AccessError(NOT_GOOD)
    try:
        return _signer(home, use).loads(token)
    except BadData as error:
        raise AccessError(NOT_GOOD) from error


def _signer(home: Home, use: str) -> URLSafeSerializer:
    options = {"digest_method": hashlib.sha256, "key_derivation": "hmac"}
    return URLSafeSerializer(_key(home), salt=use, signer_kwargs=options)


def make_key(home: Home) -> None:
    """Make the key that links are signed with, where there is none yet."""
    _key(home)


def _key(home: Home) -> bytes:
    """The home's own key for links."""
    return home_key(home.path / KEY, "remove it (every link made so far ends) and make new links.")
