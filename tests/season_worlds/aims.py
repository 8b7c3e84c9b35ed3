"""Worlds of a named aim: four kindred metrics that start to move, or don't, on the day the aim is named."""

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
    codes,
    paths,
    starts,
    tables,
    visits,
    wander,
)

METRICS = SIX[:4]


def named_aim(
    students: int, seed: int, *, worth: float = 0.0, noise: float = 1.0, wander_sd: float = 1.0
) -> SeasonWorld:
    """Until the aim nothing moves but for wandering; from then on all four gain alike, until the season's end.

    The aim is named on the day of a student's fifth visit, of 12 to 16, for the last day of the season; by their last
    visit each metric has gained `worth` smallest worthwhile changes. Errors of one session go together from metric to
    metric with a correlation of 0.5.
    """
    rng = np.random.default_rng(seed)
    usual = replace(Noise(), session=3 * noise, swing=4 * noise, kindred=0.5, wander=wander_sd)
    came, many = visits(rng, students, least=12, most=16), len(METRICS)
    named = came.day[came.first + 4]
    since = np.maximum(came.day - named[came.student], 0)
    share = since / since[came.last][came.student]
    true = starts(rng, came, usual, many) + wander(rng, came, usual, many) + (worth * SWC * share)[:, None]
    swings = usual.swings(rng, came, true + usual.session_errors(rng, came, many))
    aims = pl.DataFrame(
        {
            "student": codes(students),
            "day": [(START + timedelta(days=int(day))).date() for day in named],
            "by": (START + timedelta(days=DAYS - 1)).date(),
            "metrics": [list(METRICS)] * students,
            "change": worth * SWC,
        }
    )
    return SeasonWorld(tables(came, METRICS, [swings]), paths=paths(came, true, METRICS), aims=aims)
