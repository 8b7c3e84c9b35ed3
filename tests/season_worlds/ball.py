"""Worlds of the ball: metric and carry drift over the season by themselves, or go together swing by swing."""

import numpy as np
import polars as pl

from season_worlds.academy import (
    SIX,
    Noise,
    SeasonWorld,
    codes,
    slopes,
    starts,
    tables,
    visits,
    wander,
)

USUAL = Noise()
METRICS = SIX[:4]


def drifting(
    students: int,
    seed: int,
    *,
    r: float = 0.0,
    shots: tuple[int, int] = (8, 12),
    drift: bool = True,
    tires: float = 0.0,
    wanders: float = 0.0,
) -> SeasonWorld:
    """Four metrics and carry all rise over the season, each at its own pace, without anything to do with each other.

    Within a session carry goes with the first metric, swing by swing, with correlation `r`. A session's carry is off
    by 4 m, a swing's by 7 m, its side by 9 m. Where the player `tires`, metrics and ball move along a line through the
    session, by so many of a swing's sd from first to last, more in some sessions; where they `wander`, each goes its
    own way from swing to swing, by so many sd a swing.
    """
    rng = np.random.default_rng(seed)
    came, many = visits(rng, students, swings=shots), len(METRICS)
    true = starts(rng, came, USUAL, many) + wander(rng, came, USUAL, many)
    true += slopes(rng, came, USUAL, many, mean=1.0 if drift else 0.0)
    swings = USUAL.swings(rng, came, true + USUAL.session_errors(rng, came, many))
    count = swings.visit.size
    first = np.searchsorted(swings.visit, np.arange(came.count))
    place = (np.arange(count) - first[swings.visit]) / (came.swings[swings.visit] - 1) - 0.5
    line = tires * rng.normal(1, 0.5, came.count)[swings.visit] * place
    paths = np.cumsum(rng.normal(0, wanders, (count, many + 2)), axis=0)
    paths -= paths[first][swings.visit]
    swings.x = swings.x + 4 * (line[:, None] + paths[:, :many])
    off = (swings.x - true[swings.visit])[:, 0]
    within = off - (np.bincount(swings.visit, off) / came.swings)[swings.visit]
    pace = rng.normal(3.0 if drift else 0.0, 1.5 if drift else 0.0, students)[came.student] * came.months
    level = rng.normal(140, 12, students)[came.student] + pace + rng.normal(0, 4, came.count)
    own = rng.normal(size=count) - line + paths[:, many]
    carry = level[swings.visit] + 7 * (r * within / 4 + np.sqrt(1 - r**2) * own)
    swings.more = {"carry_m": carry, "side_m": 9 * (rng.normal(size=count) + line + paths[:, many + 1])}
    links = pl.DataFrame(
        [
            (student, metric, r > 0 and m == 0)
            for student in codes(students)
            for m, metric in enumerate(METRICS)
        ],
        schema=["student", "metric", "linked"],
        orient="row",
    )
    return SeasonWorld(tables(came, METRICS, [swings]), links=links)
