"""What notes can name that no plate measures: signs a coach sees, and feelings a player has."""

import tomllib
from dataclasses import dataclass
from functools import cache
from typing import Any

from warehouse.definitions import PHASES, RULES_FOLDER


@dataclass(frozen=True)
class Sign:
    """One `[[sign]]` of observations.toml; the file's head says what each key means."""

    code: str
    name: str
    phase: str
    sense: str
    looks_like: str


@dataclass(frozen=True)
class Feeling:
    """One `[[feeling]]` of observations.toml."""

    code: str
    question: str
    faults: tuple[str, ...]


@cache
def _tables() -> dict[str, list[dict[str, Any]]]:
    return tomllib.loads((RULES_FOLDER / "observations.toml").read_text(encoding="utf-8"))


@cache
def signs() -> tuple[Sign, ...]:
    """Every sign in swing order."""
    found = [Sign(**table) for table in _tables()["sign"]]
    return tuple(sorted(found, key=lambda sign: PHASES.index(sign.phase)))


@cache
def feelings() -> tuple[Feeling, ...]:
    """Every feeling, in the order of the swing."""
    tables = _tables()["feeling"]
    return tuple(Feeling(**table | {"faults": tuple(table["faults"])}) for table in tables)


def sign_codes() -> frozenset[str]:
    """Codes of signs that a note may name."""
    return frozenset(sign.code for sign in signs())


def feeling_codes() -> frozenset[str]:
    """Codes of feelings that a note may name."""
    return frozenset(feeling.code for feeling in feelings())
