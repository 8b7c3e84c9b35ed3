"""Visits to the plate: from stepping on to stepping off, each with its standing load."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ingest.recording.moves import HZ, Array, smooth

SAME_LOAD = 0.025  # of a standing load: visits nearer than this are one person's


def standing_loads(total: Array, on: NDArray[np.bool_]) -> tuple[NDArray[np.int64], dict[int, float]]:
    """Which visit to the plate each sample belongs to, and each visit's standing load above the zero of then.

    Visits are parted by half a second without anybody. The zero is what the empty plate shows around them.
    """
    off = ~_closed(on, round(0.5 * HZ))
    visits = np.cumsum(np.diff(off.astype(np.int8), prepend=1) < 0, dtype=np.int64)
    empty = off & (smooth(on.astype(np.float64), 2.0) <= 0.0)  # nobody is stepping on or off
    calm = np.abs(np.gradient(total)) * HZ < 0.5 * total
    where = np.arange(total.size)
    zeros = np.interp(where, where[empty], smooth(total[empty], 3.0)) if empty.sum() > HZ else 0.0 * total
    loads = {}
    for visit in np.unique(visits):
        here = (visits == visit) & on & calm
        loads[int(visit)] = float(np.median((total - zeros)[here])) if here.any() else 0.0
    return visits, loads


def _closed(on: NDArray[np.bool_], gap: int) -> NDArray[np.bool_]:
    """The same with short stretches without anybody filled."""
    edges = np.flatnonzero(np.diff(np.concatenate([[1], on, [1]])))
    filled = on.copy()
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        if b - a < gap:
            filled[a:b] = True
    return filled


def same_load(loads: Sequence[float]) -> list[int]:
    """A number for each load, the same for what may be one person's: no step over 2.5 % between them."""
    order = np.argsort(loads)
    steps = np.diff(np.log(np.maximum(np.asarray(loads)[order], 1.0)), prepend=0.0)[1:]
    groups = np.concatenate([[0], np.cumsum(steps > SAME_LOAD)]).astype(int)
    found = np.empty(len(order), dtype=int)
    found[order] = groups[: len(order)]
    return [int(one) for one in found]
