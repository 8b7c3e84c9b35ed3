"""Worlds of coaches: equal ones whose students start, or move, in different ways; and one who adds more."""

import numpy as np
import polars as pl

from season_worlds.academy import BANDED, DAYS, MONTH, Noise, SeasonWorld, paths, tables, visits, wander

USUAL = Noise()
MOVES = ("alike", "stops", "slows", "nobody")


def coaches(
    students: int,
    seed: int,
    *,
    count: int = 4,
    first_starts: float = 3.0,
    move: str = "alike",
    first_adds: float = 0.0,
    metrics: tuple[str, ...] = BANDED,
) -> SeasonWorld:
    """Students in turn of `count` coaches, alike in everything but where those of the first coach start.

    `first_starts`: the mean of x there (3: inside the band; others start at -10). move: "alike": everyone at their
    own pace, N(0.5, 0.7²) a month, in or out of the band; "stops": nobody goes further than the band's beginning;
    "slows": pace falls with the distance to it, to a fifth; "nobody": no one moves. The first coach adds
    `first_adds` per 90 days to every metric outside the band.
    """
    rng = np.random.default_rng(seed)
    came, many = visits(rng, students), len(metrics)
    coach = np.arange(students) % count
    mean = np.where(coach == 0, first_starts, -10.0)
    spread = np.where((coach == 0) & (first_starts > 0), 1.5, USUAL.student)
    start = mean[:, None] + spread[:, None] * rng.normal(size=(students, many))
    pace = (
        0.5
        + 0.8 * USUAL.slope * rng.normal(size=(students, 1))
        + 0.6 * USUAL.slope * rng.normal(size=(students, many))
    )
    pace = np.zeros_like(pace) if move == "nobody" else pace
    added = np.where(coach == 0, first_adds / 3, 0.0)[:, None]
    true = _paths(start, pace + added, move)[came.student, came.day - came.day[came.first][came.student]]
    true = true + wander(rng, came, USUAL, many) * (0.0 if move == "nobody" else 0.5)
    swings = USUAL.swings(rng, came, true + USUAL.session_errors(rng, came, many))
    truth = pl.DataFrame(
        {"coach": [f"c{c + 1:02d}" for c in range(count)], "gain": [first_adds] + [0.0] * (count - 1)}
    )
    return SeasonWorld(
        tables(came, metrics, [swings], coach=coach), paths=paths(came, true, metrics), coaches=truth
    )


def _paths(start: np.ndarray, pace: np.ndarray, move: str) -> np.ndarray:
    """(S, DAYS, M): where everyone is, day by day since their first visit."""
    day = start.copy()
    path = np.empty((start.shape[0], DAYS, start.shape[1]))
    for d in range(DAYS):
        path[:, d] = day
        step = pace / MONTH
        if move == "slows":
            step = step * np.clip(-day / 10, 0.2, 1)
        moved = day + step
        day = np.where(moved > np.maximum(day, 0), np.maximum(day, 0), moved) if move == "stops" else moved
    return path
