"""A continuous recording cut into swings: where each one is, what it is, and how sure that is."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.recording.kinds import kinds_of
from ingest.recording.moves import HZ, LEAST_STEP, STAND_S, STEP_S, Array, Line, Move, steepest, swing_like
from ingest.recording.visits import same_load, standing_loads

BEFORE_S, AFTER_S = 2.5, 1.5  # kept around a swing


@dataclass(frozen=True)
class FoundSwing:
    """One swing of a recording; times in s on its clock.

    start_s, strike_s, end_s: the load leaves the stand, passes to the lead foot fastest, and has arrived.
    from_s, to_s: what is kept around it. standing_n: both feet's load, standing, in that visit to the plate.
    toward: 1 where the load went to the lead foot, -1 where it went the way of one who plays with the other
    hand. sure: 0 to 1, that `kind` is right.
    """

    kind: str
    sure: float
    start_s: float
    strike_s: float
    end_s: float
    from_s: float
    to_s: float
    standing_n: float
    toward: int


def cut(t_s: Array, lead_n: Array, trail_n: Array, *, force: bool = True) -> list[FoundSwing]:
    """Swings of one recording, in order.

    t_s: (n,) ascending, s. lead_n, trail_n: (n,) each foot's load, N, NaN read as none; without `force` they
    are shares of an unknown load. Nothing found gives an empty list.
    """
    if t_s.size < 2 or not t_s[-1] - t_s[0] > STAND_S:
        return []
    line = Line.of(t_s, np.nan_to_num(lead_n), np.nan_to_num(trail_n))
    moves = steepest(line.share, round(STEP_S * HZ), LEAST_STEP)
    visits, loads = standing_loads(line.total, line.on)
    seen = [one for at in moves if (one := swing_like(line, int(at), force=force)) is not None]
    found = _apart(_one_way(seen, visits))
    whose = same_load([loads[visits[one.strike]] for one in found])
    kinds: dict[int, tuple[str, float]] = {}
    for group in set(whose):
        own = [k for k, name in enumerate(whose) if name == group]
        kinds |= zip(own, kinds_of([found[k] for k in own], visits, force=force), strict=True)
    kept = [k for k in range(len(found)) if kinds[k][0]]
    around = [None, *(found[k] for k in kept), None]
    return [
        _row(line, found[k], *kinds[k], around[place], around[place + 2], loads[visits[found[k].strike]])
        for place, k in enumerate(kept)
    ]


def _one_way(found: Sequence[Move], visits: NDArray[np.int64]) -> list[Move]:
    """Those that go the way most of their visit's do: nobody plays with both hands in one visit."""
    ways: dict[int, float] = {}
    for one in found:
        visit = int(visits[one.strike])
        ways[visit] = ways.get(visit, 0.0) + one.toward * one.rise * max(one.surge, 0.05)
    return [one for one in found if one.toward * ways[int(visits[one.strike])] > 0.0]


def _apart(found: Sequence[Move]) -> list[Move]:
    """The strongest of those that overlap, in order of time."""
    kept: list[Move] = []
    for one in sorted(found, key=lambda c: -c.rise * (c.surge + 0.02)):
        if all(one.strike > other.end + 0.5 * HZ or one.end + 0.5 * HZ < other.start for other in kept):
            kept.append(one)
    return sorted(kept, key=lambda c: c.strike)


def _row(
    line: Line, one: Move, kind: str, sure: float, before: Move | None, after: Move | None,
    standing_n: float,
) -> FoundSwing:  # fmt: skip
    """Times on the recording's clock; what is kept ends where the next swing begins or somebody steps off."""
    low = one.start - BEFORE_S * HZ if before is None else max(one.start - BEFORE_S * HZ, before.end)
    high = one.end + AFTER_S * HZ if after is None else min(one.end + AFTER_S * HZ, after.start)
    off = np.flatnonzero(~line.on)
    earlier, later = off[off < one.peak], off[off > one.strike]
    low = max(low, earlier[-1] + 1) if earlier.size else low
    high = min(high, later[0] - 1) if later.size else high
    start, strike, end, kept, until = (
        line.first_s + place / HZ for place in (one.start, one.strike, one.end, max(low, 0.0), high)
    )
    return FoundSwing(kind, sure, start, strike, end, kept, until, standing_n, one.toward)
