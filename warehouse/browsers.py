"""Browsers that are let in without an identity provider, each by an invitation that works once.

An invitation is a token signed with the home's own key. It is for one person; the one that `underfoot serve`
prints may leave open for whom, and then counts for the academy's head coach. It runs out soon and is used up
by the first browser that takes it. That browser then holds a random secret, of which the home knows the hash:
here it ends for good, wherever the secret has been copied to.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from warehouse import sign_ins
from warehouse.errors import AccessError
from warehouse.home import Home
from warehouse.links import signed, unsigned
from warehouse.sign_ins import LONGEST, now, opened

START_GOOD = timedelta(minutes=10)
INVITATION_DAYS, MOST_INVITATION_DAYS = 3, 14
SEEN_EVERY_S = 60.0  # how exactly it is kept when a browser was last seen
_USE = "invitation"
NOT_GOOD = "This invitation is not valid; ask the head coach for a new one."
USED = "This invitation has already been used; ask the head coach for a new one."
OVER = "This invitation has expired; ask the head coach for a new one."


@dataclass(frozen=True)
class Invitation:
    """One invitation: for whom (None: the head coach), for this machine alone or not, until when."""

    name: str
    person: str | None
    on_this_machine: bool
    until: float


@dataclass(frozen=True)
class Browser:
    """One browser that was let in; `person` and `role` are None until its first page."""

    key: str
    person: str | None
    role: str | None
    device: str
    on_this_machine: bool
    opened: float
    seen: float


def invite(
    home: Home,
    person: str | None,
    good: timedelta = timedelta(days=INVITATION_DAYS),
    *,
    on_this_machine: bool = False,
    made_by: str | None = None,
) -> str:
    """The token of a new invitation.

    Raises
        UnderfootError: the sign-ins can't be written.
    """
    name, made = secrets.token_hex(12), now()
    with opened(home) as table:
        table.execute("DELETE FROM invitation WHERE until < ?", [made - sign_ins.KEPT.total_seconds()])
        table.execute(
            "INSERT INTO invitation (name, person, on_this_machine, made_by, made, until) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            [name, person, on_this_machine, made_by, made, made + good.total_seconds()],
        )
    return signed(home, _USE, name)


def read(home: Home, token: str) -> Invitation:
    """The invitation of a token, which is still good.

    Raises
        AccessError: it is none of ours, was used or withdrawn, or has run out.
    """
    try:
        name = unsigned(home, _USE, token)
    except AccessError as error:
        raise AccessError(NOT_GOOD) from error
    with opened(home) as table:
        row = table.execute(
            "SELECT name, person, on_this_machine, until, used, ended FROM invitation WHERE name = ?",
            [name],
        ).fetchone()
    if row is None or row[5] is not None:
        raise AccessError(NOT_GOOD)
    if row[4] is not None:
        raise AccessError(USED)
    if now() > row[3]:
        raise AccessError(OVER)
    return _invitation(row)


def let_in(home: Home, token: str, device: str) -> str:
    """Use an invitation up; returns the secret of the browser that is now let in.

    Raises
        AccessError: as of `read`, also where another browser was faster.
    """
    invitation, at, secret = read(home, token), now(), secrets.token_urlsafe(32)
    with opened(home) as table:
        taken = table.execute(
            "UPDATE invitation SET used = ? WHERE name = ? AND used IS NULL AND ended IS NULL AND until >= ?",
            [at, invitation.name, at],
        )
        if taken.rowcount != 1:
            raise AccessError(USED)
        table.execute(
            "INSERT INTO browser (key, invitation, person, device, on_this_machine, opened, seen) "
            "VALUES (?, ?, ?, ?, ?, ?, ?)",
            [_hash(secret), invitation.name, invitation.person, device, invitation.on_this_machine, at, at],
        )
    return secret


def find(home: Home, secret: str) -> Browser | None:
    """The browser that holds a secret, while it is let in."""
    if not secret or not home.sign_ins.exists():
        return None
    at = now()
    with opened(home) as table:
        row = table.execute(f"{_BROWSER} WHERE key = ? AND ended IS NULL", [_hash(secret)]).fetchone()
        if row is None:
            return None
        found = _browser(row)
        if at - found.opened > LONGEST.total_seconds():
            _end(table, found.key, "too_old")
            return None
        if at - found.seen > SEEN_EVERY_S:
            table.execute("UPDATE browser SET seen = ? WHERE key = ?", [at, found.key])
    return found


def is_open(home: Home, key: str, person: str, role: str) -> bool:
    """Whether a browser is let in for this person in this role; its first page settles both.

    One whose person or role is another by now ends here.
    """
    with opened(home) as table:
        table.execute(
            "UPDATE browser SET person = ?, role = ? WHERE key = ? AND role IS NULL "
            "AND (person IS NULL OR person = ?)",
            [person, role, key, person],
        )
        row = table.execute("SELECT person, role, ended IS NULL FROM browser WHERE key = ?", [key]).fetchone()
        if row is None or not row[2]:
            return False
        if row[:2] != (person, role):
            _end(table, key, "another_role")
            return False
    return True


def end(home: Home, key: str, why: str = "signed_out") -> None:
    """End a browser for good."""
    with opened(home) as table:
        _end(table, key, why)


def withdraw(home: Home, name: str) -> None:
    """End an invitation that nobody has used."""
    with opened(home) as table:
        table.execute("UPDATE invitation SET ended = ? WHERE name = ? AND used IS NULL", [now(), name])


def open_invitations(home: Home) -> list[Invitation]:
    """Invitations for people that are still good, the newest first."""
    with opened(home) as table:
        rows = table.execute(
            "SELECT name, person, on_this_machine, until FROM invitation "
            "WHERE used IS NULL AND ended IS NULL AND until >= ? AND NOT on_this_machine ORDER BY made DESC",
            [now()],
        ).fetchall()
    return [_invitation(row) for row in rows]


def open_browsers(home: Home) -> list[Browser]:
    """Browsers that are let in, the last seen first."""
    with opened(home) as table:
        rows = table.execute(
            f"{_BROWSER} WHERE ended IS NULL AND opened >= ? ORDER BY seen DESC, key",
            [now() - LONGEST.total_seconds()],
        ).fetchall()
    return [_browser(row) for row in rows]


_BROWSER = "SELECT key, person, role, device, on_this_machine, opened, seen FROM browser"


def _invitation(row: Any) -> Invitation:
    return Invitation(row[0], row[1], bool(row[2]), row[3])


def _browser(row: Any) -> Browser:
    return Browser(row[0], row[1], row[2], row[3], bool(row[4]), row[5], row[6])


def _end(table: Any, key: str, why: str) -> None:
    table.execute("UPDATE browser SET ended = ?, why = ? WHERE key = ? AND ended IS NULL", [now(), why, key])


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
