"""What notes can name that no plate measures: signs a coach sees, and feelings a player has."""

from dataclasses import dataclass
from functools import cache

from warehouse.definitions import PHASES, rule_tables


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
def signs() -> tuple[Sign, ...]:
    """Every sign in swing order."""
    found = [Sign(**table) for table in rule_tables("observations.toml")["sign"]]
    return tuple(sorted(found, key=lambda sign: PHASES.index(sign.phase)))


@cache
def feelings() -> tuple[Feeling, ...]:
    """Every feeling, in the order of the swing."""
    tables = rule_tables("observations.toml")["feeling"]
    return tuple(Feeling(**table | {"faults": tuple(table["faults"])}) for table in tables)


def sign_codes() -> frozenset[str]:
    """Codes of signs that a note may name."""
    return frozenset(sign.code for sign in signs())


def feeling_codes() -> frozenset[str]:
    """Codes of feelings that a note may name."""
    return frozenset(feeling.code for feeling in feelings())
