"""Links to one student's progress page: signed, good for some days, and ended at any time.

A link carries the student, when it was made and until when it is good, signed with the home's own key
(HMAC-SHA-256, RFC 2104; base64url, RFC 4648). Ending a student's links notes the moment: older ones are dead.
A link shows nothing that the student's own page does not, and only while a consent to share it holds.
"""

import base64
import hashlib
import hmac
import json
import os
import secrets
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from warehouse.errors import AccessError, CallError
from warehouse.home import Home, write_synced
from warehouse.store import Snapshot, open_snapshot

KEY, ENDED = "links.key", "links_ended.json"
MOST_DAYS = 400
NOT_GOOD = "This link is not good; ask the academy for a new one."
OVER = "This link has ended; ask the academy for a new one."
NOT_SHARED = "This page is not shared by link now; ask the academy."


@dataclass(frozen=True)
class Link:
    """One link, read: whose page, an id for the access log, made and good until (seconds since 1970)."""

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
        found = snapshot.sql("SELECT role FROM academy.person WHERE person = ?", [student])
        if found.is_empty() or found.item() != "student":
            raise CallError(f"{student} is no student of people.csv; name one.")
        if not shared(home, snapshot, student, now):
            raise CallError(
                f"No consent to share_page covers {student} today; add it to consents.csv and load that file."
            )
    finally:
        snapshot.close()
    at = (now or datetime.now(UTC)).replace(microsecond=0)
    told = {
        "s": student,
        "n": secrets.token_hex(4),
        "m": at.timestamp(),
        "u": (at + timedelta(days=days)).timestamp(),
    }
    body = _plain(json.dumps(told, separators=(",", ":")).encode())
    return f"{body}.{_plain(_signature(home, body))}"


def read_link(home: Home, snapshot: Snapshot, token: str, *, now: datetime | None = None) -> Link:
    """The link a token is.

    Raises
        AccessError: it is not one of ours, has run out, was ended, or its page is no longer shared.
    """
    body, _, signature = token.partition(".")
    known = (home.path / KEY).is_file()
    if not known or not hmac.compare_digest(_plain(_signature(home, body)).encode(), signature.encode()):
        raise AccessError(NOT_GOOD)
    told = json.loads(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4)))
    link = Link(told["s"], told["n"], told["m"], told["u"])
    at = (now or datetime.now(UTC)).timestamp()
    if at >= link.until or link.made <= _ended(home).get(link.student, float("-inf")):
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
    """Whether a consent to share this student's page holds today, or consents are kept elsewhere."""
    settings = home.settings()
    if settings.consents_kept_elsewhere:
        return True
    day = (now or datetime.now(UTC)).astimezone(settings.zone).date()
    found = snapshot.sql(
        "SELECT 1 FROM academy.consent WHERE student = ? AND purpose = 'share_page' "
        'AND "from" <= ? AND ("to" IS NULL OR "to" >= ?) LIMIT 1',
        [student, day, day],
    )
    return not found.is_empty()


def _ended(home: Home) -> dict[str, float]:
    with suppress(FileNotFoundError):
        told = json.loads((home.path / ENDED).read_text("utf-8"))
        return {str(student): float(at) for student, at in told.items()}
    return {}


def _signature(home: Home, body: str) -> bytes:
    return hmac.digest(_key(home), body.encode(), hashlib.sha256)


def _key(home: Home) -> bytes:
    """The home's own key; made when it is first wanted, for its owner's eyes only."""
    path = home.path / KEY
    with suppress(FileExistsError):
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(secrets.token_bytes(32))
            file.flush()
            os.fsync(file.fileno())
    key = path.read_bytes()
    if len(key) != 32:
        raise CallError(f"{path} is damaged; remove it (every link made so far ends) and make new links.")
    return key


def _plain(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")
