"""Which sign-ins are open.

A cookie says who signed in, and keeps saying it wherever it is copied to. So each sign-in is also a row here,
in the home, from the first page it opens: it ends there for good when its person signs out, may no longer
look or changes role, or after `LONGEST`. A cookie whose sign-in is not here opens nothing, unless it was
issued just now.
"""

import hashlib
import json
import os
import sqlite3
from collections.abc import Collection, Iterator, Mapping
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.sign_in_settings import SignInSettings
from warehouse.toml import is_number

LONGEST = timedelta(days=30)
JUST_NOW = timedelta(minutes=10)  # from the provider's time to the first page, and by how much clocks differ
KEPT = LONGEST + timedelta(days=2)  # an ended sign-in is remembered until no cookie of it can be good
_TELLS_APART = ("iss", "sub", "aud", "sid", "iat", "nonce", "jti")
_TABLES = """
CREATE TABLE IF NOT EXISTS sign_in (
    key TEXT PRIMARY KEY, person TEXT NOT NULL, role TEXT NOT NULL, issued REAL NOT NULL, ended REAL, why TEXT
);
CREATE TABLE IF NOT EXISTS invitation (
    name TEXT PRIMARY KEY, person TEXT, on_this_machine INTEGER NOT NULL, made_by TEXT, made REAL NOT NULL,
    until REAL NOT NULL, used REAL, ended REAL
);
CREATE TABLE IF NOT EXISTS browser (
    key TEXT PRIMARY KEY, invitation TEXT NOT NULL, person TEXT, role TEXT, device TEXT NOT NULL,
    on_this_machine INTEGER NOT NULL, opened REAL NOT NULL, seen REAL NOT NULL, ended REAL, why TEXT
);"""


def is_revoked(claims: Mapping[str, Any], settings: SignInSettings) -> bool:
    """Whether a sign-in is older than the moment before which academy.toml ends them all."""
    line = settings.revoked_before
    return line is not None and _issued(claims) < line.timestamp()


def is_open(home: Home, claims: Mapping[str, Any], person: str, role: str) -> bool:
    """Whether a sign-in is open for this person in this role; its first page opens it.

    One whose person or role is another by now ends here.

    Raises
        UnderfootError: the sign-ins can't be read or written.
    """
    at, issued, key = now(), _issued(claims), _key(claims)
    found = "SELECT person, role, ended IS NULL FROM sign_in WHERE key = ?"
    with opened(home) as table:
        row = table.execute(found, [key]).fetchone()
        if row is None and abs(at - issued) <= JUST_NOW.total_seconds():
            table.execute("DELETE FROM sign_in WHERE issued < ?", [at - KEPT.total_seconds()])
            table.execute(
                "INSERT OR IGNORE INTO sign_in (key, person, role, issued) VALUES (?, ?, ?, ?)",
                [key, person, role, issued],
            )
            row = table.execute(found, [key]).fetchone()
    if row is None or not row[2]:
        return False
    if row[:2] != (person, role) or at - issued > LONGEST.total_seconds():
        end(home, claims, "another_role" if row[:2] != (person, role) else "too_old")
        return False
    return True


def end_opened(home: Home, claims: Mapping[str, Any], why: str) -> None:
    """As `end`, of a sign-in that has opened a page; one that has not may still be let in."""
    with opened(home) as table:
        row = table.execute("SELECT 1 FROM sign_in WHERE key = ?", [_key(claims)]).fetchone()
    if row is not None:
        end(home, claims, why)


def end(home: Home, claims: Mapping[str, Any], why: str = "signed_out") -> None:
    """End a sign-in for good, wherever its cookie has been copied to.

    Raises
        UnderfootError: the sign-ins can't be read or written.
    """
    with opened(home) as table:
        table.execute(
            "INSERT INTO sign_in (key, person, role, issued, ended, why) VALUES (?, '', '', ?, ?, ?) "
            "ON CONFLICT (key) DO UPDATE SET ended = excluded.ended, why = excluded.why WHERE ended IS NULL",
            [_key(claims), _issued(claims), now(), why],
        )


def remove(home: Home, people: Collection[str]) -> None:
    """End every sign-in, invitation and browser of these people, and leave no trace of them in the file."""
    if not home.sign_ins.exists():
        return
    marks = ", ".join("?" * len(people))
    with opened(home) as table:
        for name in ("sign_in", "invitation", "browser"):
            table.execute(f"DELETE FROM {name} WHERE person IN ({marks})", sorted(people))
        table.execute(f"UPDATE invitation SET made_by = NULL WHERE made_by IN ({marks})", sorted(people))
    with closing(sqlite3.connect(home.sign_ins, timeout=10.0)) as table:
        table.execute("VACUUM")


def now() -> float:
    """Seconds since 1970."""
    return datetime.now(UTC).timestamp()


def _issued(claims: Mapping[str, Any]) -> float:
    """When the provider issued a sign-in, in seconds since 1970; long ago when it does not say."""
    issued = claims.get("iat")
    return float(issued) if is_number(issued) else 0.0


def _key(claims: Mapping[str, Any]) -> str:
    """What tells one sign-in from every other: the provider's own words for it, and the nonce it answered."""
    return hashlib.sha256(json.dumps([claims.get(name) for name in _TELLS_APART]).encode()).hexdigest()


@contextmanager
def opened(home: Home) -> Iterator[sqlite3.Connection]:
    """The sign-ins of a home, in a file of its owner's alone; what was done is committed at the end."""
    try:
        os.close(os.open(home.sign_ins, os.O_WRONLY | os.O_CREAT, 0o600))
        with closing(sqlite3.connect(home.sign_ins, timeout=10.0)) as table, table:
            table.executescript(_TABLES)
            yield table
    except (sqlite3.Error, OSError) as error:
        raise UnderfootError(
            f"The sign-ins in {home.sign_ins} can't be read or written ({error}); give the pages the right "
            "to write there, or remove a damaged file: everyone then signs in again."
        ) from error
