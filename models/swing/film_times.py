"""Whether the films of a session were taken when their swings were made, by the times in their files.

A phone writes into a film when it began or stopped to record it, to the second; saving a film again may move
that time later, never earlier. Its clock differs from the plate's by an amount that all its films share, and
a second phone's by another. Where the plate's clock ran on from swing to swing, the films' times say that
amount; else only their order can be held against that of the swings. Nothing is said where too few films
agree, as of films that were cut or saved again one by one.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

FLOATS = NDArray[np.float64]
MARKED = NDArray[np.bool_]
WITHIN_S = 3.0  # of the whole second, and of films of unlike length that say when they ended
CLOCK_RAN_S = 3.0  # at the least from one swing to the next on a clock that ran on
FEWEST, SHARE = 3, 2 / 3  # films that agree on the difference of the clocks
SHARE_OF_TWO = 0.8  # that agree on one of two differences, each of them FEWEST or more
FEWEST_IN_ORDER, SHARE_IN_ORDER = 5, 3 / 4
CHANCE = 0.05  # that films of any time would fit other swings as well


def taken_apart(struck_s: Mapping[int, float], swung_s: Mapping[int, float]) -> set[int]:
    """The swings whose films were taken before their swing, or later while the session still went on.

    Args:
        struck_s: by swing_no, when its film shows the strike, s on the camera's clock.
        swung_s: by swing_no, when every swing of the session was struck, s on the plate's clock.
    """
    filmed = np.array(sorted(struck_s.keys() & swung_s.keys()))
    if filmed.size <= FEWEST:
        return set()
    struck = np.array([struck_s[no] for no in filmed])
    if np.median(np.diff(np.sort(struck))) < CLOCK_RAN_S:
        return set()  # saved again one right after another: no camera films swings so fast
    made = np.array([swung_s[no] for no in sorted(swung_s)])
    if np.all(np.diff(made) >= CLOCK_RAN_S):
        apart = _off_clock(struck, np.array([swung_s[no] for no in filmed]), made)
    else:
        apart = _out_of_order(struck)
    return set(filmed[apart].tolist())


def _off_clock(struck: FLOATS, own: FLOATS, made: FLOATS) -> MARKED:
    """Which films are off the difference of the clocks on which most agree, and alone in theirs.

    Where too few agree with the swings they are delivered for, they may all agree with others: with each
    film's swing taken for the next one's, say. That counts where so many would hardly agree by chance.
    """
    nobody = np.zeros(struck.size, dtype=bool)
    enough = max(FEWEST, SHARE * struck.size)
    late = struck - own
    agreeing = np.sum(np.abs(late[:, None] - late) <= WITHIN_S, axis=1)
    ahead = late[np.argmax(agreeing)]
    others = agreeing[np.abs(late - ahead) > 2.0 * WITHIN_S]
    alone = agreeing == 1  # several that agree on another difference are of a second phone
    two_phones = max(agreeing) + others[others >= FEWEST].max(initial=0) >= SHARE_OF_TWO * struck.size
    if max(agreeing) < enough and not two_phones:
        each = (struck[:, None] - made).ravel()
        near = np.array([np.abs(struck[:, None] - made - one).min(axis=1) <= WITHIN_S for one in each])
        most = int(near.sum(axis=1).max())
        by_chance = min(2.0 * WITHIN_S * made.size / max(float(np.ptp(made)), 1.0), 1.0)
        if most < max(enough, max(agreeing) + 2) or each.size * by_chance ** (most - 1) > CHANCE:
            return nobody
        ahead = each[int(np.argmax(near.sum(axis=1)))]
        alone = ~nobody
    late = late - ahead
    after = (late > WITHIN_S) & (struck <= made.max() + ahead + WITHIN_S)
    return np.asarray(alone & ((late < -WITHIN_S) | after))


def _out_of_order(struck: FLOATS) -> MARKED:
    """Which films are not in every longest row of films whose times follow one another as their swings do."""
    count = struck.size
    upto, onward = np.ones(count, dtype=int), np.ones(count, dtype=int)
    for k in range(count):
        upto[k] += max(upto[:k][struck[:k] <= struck[k]], default=0)
    for k in reversed(range(count)):
        onward[k] += max(onward[k + 1 :][struck[k + 1 :] >= struck[k]], default=0)
    longest = int(upto.max())
    if longest < max(FEWEST_IN_ORDER, SHARE_IN_ORDER * count):
        return np.zeros(count, dtype=bool)
    in_one = upto + onward - 1 == longest
    sure = in_one & (np.bincount(upto[in_one], minlength=longest + 1)[upto] == 1)
    times = struck[sure]
    ended = times.max(initial=-np.inf) + np.diff(times).max(initial=0.0)
    return np.asarray(~sure & (struck <= ended))
