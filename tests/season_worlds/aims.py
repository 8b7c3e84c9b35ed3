"""Worlds of agreed aims: a coach and each student agree on a few measures, and these move afterwards, before, or never."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl

from season_worlds.academy import (
    DAYS,
    SIX,
    START,
    SWC,
    Noise,
    SeasonWorld,
    code,
    paths,
    starts,
    tables,
    visits,
    wander,
)

FOUR = SIX[:4]
USUAL = Noise()
BEFORE = 4  # visits up to the day on which the aim is agreed, that day's own among them
EARLY = 60  # days in which these come where the whole season is the aim's


def agreed(
    students: int,
    seed: int,
    *,
    worth: tuple[float, ...] = (0.0, 2.0, 4.0),
    moving: int = 4,
    before: tuple[float, ...] = (0.0,),
    noise: float = 1.0,
    wander_sd: float = 0.0,
    metrics: tuple[str, ...] = FOUR,
    weekly: bool = False,
    six_months: bool = False,
) -> SeasonWorld:
    """Every student agrees on an aim in the metrics at their fourth visit, to be reached by the season's end.

    From that day to their last visit the first `moving` metrics change evenly, each by one of `worth` smallest
    worthwhile changes, dealt out evenly over the students; from the first visit to that day all metrics change by
    one of `before`, dealt out likewise. `noise` multiplies what sessions and swings err by. `weekly`: everyone comes
    every week from that day on. `six_months`: the four visits come in two months of their own, and the usual 6 to 14
    in the six months after them.
    """
    rng = np.random.default_rng(seed)
    of = replace(USUAL, session=3 * noise, swing=4 * noise, wander=wander_sd)
    days = EARLY + DAYS if six_months else DAYS
    came = _long(rng, students) if six_months else _weekly(rng, students) if weekly else visits(rng, students)
    agreed_on = came.day[came.first + BEFORE - 1]
    since = np.maximum(came.day - agreed_on[came.student], 0)
    until = np.minimum(came.day - agreed_on[came.student], 0)
    share = since / np.maximum(since[came.last], 1)[came.student]
    earlier = until / np.minimum(until[came.first], -1)[came.student] * -1.0
    size = SWC * rng.permutation(np.resize(worth, students))
    moved = size[came.student][:, None] * share[:, None] * (np.arange(len(metrics)) < moving)
    rise = SWC * rng.permutation(np.resize(before, students))
    moved = moved + (rise[came.student] * earlier)[:, None] + wander(rng, came, of, len(metrics))
    true = starts(rng, came, of, len(metrics)) + moved
    swings = of.swings(rng, came, true + of.session_errors(rng, came, len(metrics)))
    return SeasonWorld(
        tables(came, metrics, [swings], days=days) | {"academy.note": _notes(agreed_on, metrics, days)},
        paths=paths(came, true, metrics),
        groups=pl.DataFrame(
            {"student": [code(s) for s in range(students)], "group": [f"{x / SWC:g}" for x in size]}
        ),
    )


def _weekly(rng, students):
    """The usual visits up to the fourth, then one a week."""
    came = visits(rng, students)
    rows = []
    for s, first in enumerate(came.first):
        early = came.day[first : first + BEFORE]
        rows += [(s, day) for day in [*early, *range(early[-1] + 7, DAYS, 7)]]
    student, day = np.array(rows).T
    return type(came)(student, day, rng.integers(8, 12, student.size, endpoint=True))


def _long(rng, students):
    """Four visits in the first two months, and the usual ones in the six months after them."""
    early = visits(rng, students, least=BEFORE, most=BEFORE, days=EARLY)
    later = visits(rng, students)
    student = np.concatenate([early.student, later.student])
    day = np.concatenate([early.day, later.day + EARLY])
    order = np.lexsort([day, student])
    return type(early)(student[order], day[order], np.concatenate([early.swings, later.swings])[order])


def _notes(agreed_on: np.ndarray, metrics: tuple[str, ...], days: int) -> pl.DataFrame:
    """The aims as coaches note them, each in the evening after the visit."""
    rows = [
        {
            "note": f"aim-{code(s)}", "student": code(s), "at": START + timedelta(days=int(day), minutes=600),
            "day": (START + timedelta(days=int(day))).date(), "author": "c01", "kind": "agreed_aim",
            "code": metrics[0], "kindred": " ".join(metrics[1:]) or None,
            "due": (START + timedelta(days=days - 1)).date(), "shared": True, "delivery": "d", "loose": False,
        }
        for s, day in enumerate(agreed_on)
    ]  # fmt: skip
    return pl.DataFrame(rows, schema_overrides={"kindred": pl.String})
