"""What notes can name that no plate measures: signs a coach sees, and feelings a player has."""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from warehouse.definitions import PHASES, RULES_FOLDER, fault_codes
from warehouse.errors import UnderfootError
from warehouse.settings import Settings

GOOD, FAULT, EXPLAINS = "good", "fault", "explains"
SENSES = (GOOD, FAULT, EXPLAINS)


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
def signs(file: Path = RULES_FOLDER / "observations.toml") -> tuple[Sign, ...]:
    """Every sign in swing order.

    Raises
        UnderfootError: a sign has a phase or a sense that there is not.
    """
    found = [Sign(**table) for table in tomllib.loads(file.read_text(encoding="utf-8"))["sign"]]
    for sign in found:
        if sign.phase not in PHASES or sign.sense not in SENSES:
            raise UnderfootError(
                f"{file.name}: [[sign]] {sign.code} has phase {sign.phase!r} and sense {sign.sense!r}; "
                f"use one of {', '.join(PHASES)}, and one of {', '.join(SENSES)}."
            )
    return tuple(sorted(found, key=lambda sign: PHASES.index(sign.phase)))


@cache
def feelings(file: Path = RULES_FOLDER / "observations.toml") -> tuple[Feeling, ...]:
    """Every feeling, in the order of the swing.

    Raises
        UnderfootError: a feeling names a fault that there is not.
    """
    tables = tomllib.loads(file.read_text(encoding="utf-8"))["feeling"]
    found = tuple(Feeling(**table | {"faults": tuple(table["faults"])}) for table in tables)
    known = fault_codes(Settings("", "UTC"))
    for feeling in found:
        if unknown := sorted(set(feeling.faults) - known):
            raise UnderfootError(
                f"{file.name}: [[feeling]] {feeling.code} names {', '.join(unknown)}, which are no faults."
            )
    return found


def sign_codes() -> frozenset[str]:
    """Codes of signs that a note may name."""
    return frozenset(sign.code for sign in signs())


def feeling_codes() -> frozenset[str]:
    """Codes of feelings that a note may name."""
    return frozenset(feeling.code for feeling in feelings())
