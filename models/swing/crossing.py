"""When a swing moves to the front foot for good: the moment its lead share rises through 50 before impact."""

import math

import numpy as np
from numpy.typing import NDArray

from models.swing import conditioning as c
from models.swing import operations as ops
from models.swing.compiled import compiled

FLOATS = NDArray[np.float64]
NULL, CROSSED, BEFORE_TOP, NEVER = 0, 1, 2, 3


@compiled
def cross_over(swing: ops.Swing) -> tuple[int, float]:
    """Code and sample number of the lead share's last rise through 50 between top and impact."""
    share, n, top, impact = (
        swing.record.lines[c.SHARE],
        swing.record.n,
        swing.at[ops.TOP],
        swing.at[ops.IMPACT],
    )
    if not 0 <= top < impact:
        return NULL, math.nan
    half = int(np.rint(ops.EVENT_HALF_S * swing.record.fs))
    return last_crossing(share, n, top, impact, ops.around(share, n, top, half))


@compiled
def last_crossing(x: FLOATS, n: int, first: int, last: int, at_first: float) -> tuple[int, float]:
    """When lead share rises through 50 for good: (code, sample number).

    It reaches 53 and never falls under 47 again before `last`. The crossing is the last rise through 50
    before 53 is reached, placed between samples by a straight line. `at_first` is the value at the top event:
    over 50 there is BEFORE_TOP, whatever follows.
    """
    low, high = max(first, 0), min(last, n - 1)
    if math.isnan(at_first) or high <= low:
        return NULL, math.nan
    if at_first > 50.0:
        return BEFORE_TOP, math.nan
    known, under = 0, low
    for k in range(low, high + 1):
        if not math.isnan(x[k]):
            known += 1
            if x[k] < 47.0:
                under = k
    if 2 * known < high - low + 1:
        return NULL, math.nan
    reached = -1
    for k in range(under, high + 1):
        if x[k] >= 53.0:
            reached = k
            break
    if reached < 0:
        return NEVER, math.nan
    above = reached
    for back in range(reached - 1, under - 1, -1):
        if x[back] >= 50.0:
            above = back
        elif x[back] < 50.0:
            return CROSSED, back + (50.0 - x[back]) / (x[above] - x[back]) * (above - back)
    return CROSSED, float(above)
