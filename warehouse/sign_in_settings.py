"""`[sign_in]` of academy.toml: whose e-mail address is whose, and when every older sign-in ended."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

_KEYS = ("people", "revoked_before")


@dataclass(frozen=True)
class SignInSettings:
    """`[sign_in]`: person by folded e-mail address, and the moment before which every sign-in has ended."""

    people: Mapping[str, str] = field(default_factory=dict)
    revoked_before: datetime | None = None


def read_sign_in(table: Any, zone: ZoneInfo) -> SignInSettings:
    """Read `[sign_in]`.

    Raises
        ValueError: something in it is not understood, or two lines are about one address.
    """
    if not isinstance(table, dict):
        raise ValueError(f"sign_in = {table!r} is no table; write it as [sign_in].")  # noqa: TRY004 - a value of a file
    unknown = next((key for key in table if key not in _KEYS), None)
    if unknown is not None:
        raise ValueError(
            f'[sign_in] has the unknown line "{unknown}"; correct or remove it, '
            f"its lines are {' and '.join(_KEYS)}."
        )
    people: dict[str, str] = {}
    given = table.get("people", {})
    for address, person in given.items() if isinstance(given, dict) else [("people", given)]:
        if not isinstance(person, str) or "@" not in address:
            raise ValueError(
                f"[sign_in.people] {address} = {person!r} is not an e-mail address and its person; "
                'write lines such as "coach@example.org" = "c02".'
            )
        folded = fold(address)
        if folded in people:
            raise ValueError(
                f"[sign_in.people] names {folded} twice; an address is one person's, so take one "
                "of the lines out."
            )
        people[folded] = person
    return SignInSettings(people, _moment(table.get("revoked_before"), zone))


def _moment(given: Any, zone: ZoneInfo) -> datetime | None:
    """A time, a day (its beginning) or either as text; without an offset, in the academy's own time."""
    if given is None:
        return None
    said = given
    if isinstance(said, str):
        with suppress(ValueError):
            said = datetime.fromisoformat(said.strip())
    if isinstance(said, date) and not isinstance(said, datetime):
        said = datetime(said.year, said.month, said.day)  # noqa: DTZ001 - its zone follows
    if not isinstance(said, datetime):
        raise ValueError(  # noqa: TRY004 - a value of a file
            f"[sign_in] revoked_before = {given!r} is not a time; write one such as "
            "revoked_before = 2026-05-01T08:00:00Z, or a day such as 2026-05-01."
        )
    return (said if said.tzinfo else said.replace(tzinfo=zone)).astimezone(UTC)


def fold(address: str) -> str:
    """An e-mail address as it is compared: A to Z as a to z, every other letter as it is.

    Python's own folding would take the Kelvin sign for a k.
    """
    return "".join(chr(ord(c) + 32) if "A" <= c <= "Z" else c for c in address.strip(" \t\r\n"))
