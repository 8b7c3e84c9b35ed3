"""Which of one player's swings had a ball: told by shape and order, and left open where these disagree.

A practice swing is slower or weaker than the last swing before each long wait, and another swing follows it
at once. Limits: common practice, no source.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ingest.recording.moves import HZ, Array, Move
from warehouse.vocabulary import PRACTICE_SWING, SWING, UNCERTAIN_SWING

FULL_SURGE = 0.10  # of the standing load: with less it is a practice swing at most
NEXT_BALL_S = 8.0  # from strike to strike: nobody tees up and sets up in less
WAIT_S = 15.0  # from strike to strike: after longer, the swing before was the last of its ball
USUAL = np.array([0.15, 0.08, 0.12])  # least spread of a player's quickness, size and force, as logarithms
WEAKER, SPREAD = 6.0, 3.0  # practice swings beside those with a ball, in their spreads
AGAINST = 1.0  # log odds: shape and order that differ by more than this each way leave a swing uncertain
SURE = 0.8


def kinds_of(found: Sequence[Move], visits: NDArray[np.int64], *, force: bool) -> list[tuple[str, float]]:
    """What each swing of one player is and how sure that is; "" where it is taken for none after all.

    Shape and order are log odds for a ball. The shape's: N(0, 1) of the last swings before each wait, in
    their spreads, against N(WEAKER, SPREAD) of practice swings. The order's: 2 where no swing follows for
    15 s, -2 where one does within 8 s.
    """
    strikes = np.array([one.strike for one in found]) / HZ
    stays = np.array([visits[one.strike] for one in found])
    full = np.array([one.surge >= FULL_SURGE or not force for one in found])
    wait = _waits(strikes, stays, full)
    order = np.where(wait < NEXT_BALL_S, -2.0, np.where(wait > WAIT_S, 2.0, 0.0))
    shape = np.array([one.shape[: 3 if force else 2] for one in found])
    last = shape[(order > 0.0) & full] if full.any() else shape
    usual = np.median(last, axis=0)
    spread = np.maximum(1.48 * np.median(np.abs(last - usual), axis=0), USUAL[: shape.shape[1]])
    weaker = ((usual - shape) / spread).sum(axis=1) / np.sqrt(shape.shape[1])
    odds = 0.5 * ((weaker - WEAKER) / SPREAD) ** 2 + np.log(SPREAD) - 0.5 * weaker**2
    odds = np.where(weaker < 0.0, np.maximum(odds, 3.0), odds)
    alike = (odds > AGAINST) & (order < 0.0)
    if alike.sum() >= max(2.0, 0.1 * len(found)):  # this player's practice swings are like those with a ball
        odds = np.minimum(odds, AGAINST)
        order = np.where(order == 0.0, -AGAINST, order)
    both = 1.0 / (1.0 + np.exp(-np.clip(odds + order, -6.0, 6.0)))
    apart = (np.minimum(np.abs(odds), np.abs(order)) >= AGAINST) & (odds * order < 0.0)
    doubtful = apart | np.array([one.broken for one in found])
    kind = np.where(both >= SURE, SWING, np.where(both <= 1.0 - SURE, PRACTICE_SWING, UNCERTAIN_SWING))
    kind[doubtful] = UNCERTAIN_SWING
    sure = np.where(kind == UNCERTAIN_SWING, 0.5, np.maximum(both, 1.0 - both)).round(2)
    kind[~full & ((kind != PRACTICE_SWING) | (order > 0.0))] = ""  # so little is a practice swing at most
    if not force:
        others = _alike(found)
        kind[(others < 2) & (kind == SWING)] = UNCERTAIN_SWING
        kind[(others == 0) | (odds < -AGAINST) & (order > 0.0)] = ""
    return list(zip(kind.tolist(), sure.tolist(), strict=True))


def _waits(strikes: Array, stays: NDArray[np.int64], full: NDArray[np.bool_]) -> Array:
    """Seconds from each swing to the next full one of the same visit; infinite where there is none."""
    wait = np.full(strikes.size, np.inf)
    for visit in np.unique(stays):
        here, later = np.flatnonzero(stays == visit), strikes[(stays == visit) & full]
        after = np.searchsorted(later, strikes[here], side="right")
        known = after < later.size
        wait[here[known]] = later[after[known]] - strikes[here[known]]
    return wait


def _alike(found: Sequence[Move]) -> NDArray[np.int64]:
    """How many of a player's others each one is like: in quickness, size, its way back and how far back."""
    facts = np.array(
        [[*one.shape[:2], np.log((one.strike - one.start) / HZ), one.back_share] for one in found]
    )
    apart = np.abs(facts[:, None] - facts[None]) / [0.2, 0.12, 0.2, 0.06]
    return np.asarray((apart.max(axis=2) < 1.0).sum(axis=1) - 1)
