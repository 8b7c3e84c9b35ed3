"""Which fault may bring on which: the table of warehouse/rules and the chains an academy adds, checked.

Whether a student's swings bear a chain out is the models' work.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

from warehouse.definitions import fault_codes, rule_tables, wrong_code
from warehouse.errors import UnderfootError
from warehouse.observations import sign_codes
from warehouse.settings import Settings

EXAMPLE = 'code = "heels_then_push", faults = ["heels_at_address", "trail_push"]'


@dataclass(frozen=True)
class Chain:
    """One table of chains.toml, or a chain of the academy's own: each code before the one it may bring on.

    A code is a fault's, or that of a sign which only the eye can see.
    """

    code: str
    faults: tuple[str, ...]

    @property
    def links(self) -> tuple[tuple[str, str], ...]:
        """Each fault with the next."""
        return tuple(pairwise(self.faults))


@cache
def usual_chains() -> tuple[Chain, ...]:
    """The chains of chains.toml."""
    return tuple(map(_chain, rule_tables("chains.toml")["chain"]))


def read_chains(settings: Settings) -> tuple[Chain, ...]:
    """The usual chains, with the academy's own in place of those of the same code, then its further ones.

    Raises
        UnderfootError: a chain of academy.toml is not right; the sentence says what is wrong and shows a
            whole one.
    """
    chains = {chain.code: chain for chain in usual_chains()}
    known = fault_codes(settings) | sign_codes()
    for table in settings.chains:
        wrong = wrong_chain(table, known)
        if wrong:
            raise UnderfootError(
                f"academy.toml: [[chain]] {table.get('code')}: {wrong}; a whole one has {EXAMPLE}."
            )
        chains[table["code"]] = _chain(table)
    return tuple(chains.values())


def wrong_chain(table: Mapping[str, Any], known: Collection[str]) -> str | None:
    """What is wrong with the table of a chain, as a clause; None when nothing is.

    `known`: codes of faults, and of signs.
    """
    if unknown := sorted({*table} - {"code", "faults"}):
        return f"{', '.join(unknown)} is no key of it"
    code, faults = table.get("code"), table.get("faults")
    if wrong := wrong_code(code):
        return wrong
    if not isinstance(faults, list) or len(faults) < 2 or len({*map(str, faults)}) < len(faults):
        return f"faults = {faults!r} must be a list of two or more faults, each once"
    strange = [str(fault) for fault in faults if fault not in known]
    return f"faults has {', '.join(strange)}, which is no fault of this warehouse" if strange else None


def _chain(table: Mapping[str, Any]) -> Chain:
    return Chain(table["code"], tuple(table["faults"]))
