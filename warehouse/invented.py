"""Whether everyone in a home is of the demo academy: nobody else's data is open to whoever asks."""

import hashlib
import json
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from warehouse.settings import Settings
from warehouse.store import Snapshot


def people_digest(people: Iterable[Sequence[Any]]) -> str:
    """The digest of everyone's code, name and birth date, in any order: `demo_people` of academy.toml."""
    rows = sorted(
        json.dumps([code, name, born.isoformat() if isinstance(born, date) else born], ensure_ascii=False)
        for code, name, born in people
    )
    return hashlib.sha256("\n".join(rows).encode()).hexdigest()


def all_invented(roster: Snapshot, settings: Settings) -> bool:
    """Whether the home is a demo and its roster holds the demo's people and nobody else; empty is fine."""
    if not settings.demo:
        return False
    people = roster.sql("SELECT person, display_name, born FROM academy.person").rows()
    return not people or people_digest(people) == settings.demo_people
