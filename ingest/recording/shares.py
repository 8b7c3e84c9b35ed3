"""One recording of several people, shared out by standing load and by hand."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ingest.plate_rows import FoundSwing
from ingest.recording.moves import same_load
from warehouse.units import STANDARD_GRAVITY_M_S2

CLEARLY_APART = 0.05  # of a standing load: shares nearer than this are asked about


@dataclass(frozen=True)
class Share:
    """Swings that seem to be one person's.

    swings: their numbers. turns: first and last of each turn, with nobody else's between. mass_kg: their
    standing load over g. toward: as in FoundSwing. clear: no other share of that hand is within 5 % of it.
    """

    swings: tuple[int, ...]
    turns: tuple[tuple[int, int], ...]
    mass_kg: float
    toward: int
    clear: bool


def share_out(found: Mapping[int, FoundSwing]) -> list[Share]:
    """The shares of a recording, in the order in which they begin; loads must be forces, not shares."""
    numbers, swings = sorted(found), dict[tuple[int, int], list[int]]()
    for no, group in zip(numbers, same_load([found[no].standing_n for no in numbers]), strict=True):
        swings.setdefault((group, found[no].toward), []).append(no)
    loads = {key: float(np.median([found[no].standing_n for no in own])) for key, own in swings.items()}
    return [
        Share(
            tuple(own),
            turns_of(own, numbers),
            round(loads[key] / STANDARD_GRAVITY_M_S2, 1),
            key[1],
            all(
                abs(np.log(loads[key] / loads[other])) > CLEARLY_APART
                for other in loads
                if other != key and other[1] == key[1]
            ),
        )
        for key, own in swings.items()
    ]


def turns_of(own: Sequence[int], numbers: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """First and last of each run of swings among all of a recording's, both in order."""
    if not own:
        return ()
    places = {no: place for place, no in enumerate(numbers)}
    breaks = [k + 1 for k, (a, b) in enumerate(pairwise(own)) if places[b] != places[a] + 1]
    return tuple((own[a], own[b - 1]) for a, b in pairwise([0, *breaks, len(own)]))
