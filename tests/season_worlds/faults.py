"""Worlds of faults: how often each shows in a season's swings, where nothing changes or a few get worse."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl

from season_worlds.academy import DAYS, START, SeasonWorld, Swings, code, session_names, tables, visits

FAULTS = (
    "trail_heel_down",
    "lead_heel_heavy",
    "stays_centred",
    "trail_push",
    "little_lead_load",
    "trail_heel_sink",
)


def fault_rates(
    students: int, seed: int, *, changed: float = 0.0, by: float = 0.35, clustering: float = 0.15
) -> SeasonWorld:
    """Six faults in each of a student's swings, at rates of their own from Beta(0.75, 2.25).

    Swings of one session resemble each other: its rate is a beta draw about the student's, of intraclass correlation
    `clustering`. A share `changed` of students and faults rises by `by` from a day in the middle half of the season on.
    """
    rng = np.random.default_rng(seed)
    came = visits(rng, students)
    rate = rng.beta(0.75, 2.25, (students, len(FAULTS)))
    rises = rng.random(rate.shape) < changed
    since = rng.integers(DAYS // 4, 3 * DAYS // 4, rate.shape)
    grown = rises[came.student] & (came.day[:, None] >= since[came.student])
    true = np.clip(rate[came.student] + by * grown, 0.002, 0.998)
    strength = (1 - clustering) / clustering
    session = rng.beta(true * strength, (1 - true) * strength) if clustering else true
    swings = Swings(np.repeat(np.arange(came.count), came.swings), np.empty((came.swings.sum(), 0)))
    flags = {name: rng.random(swings.visit.size) < session[swings.visit, k] for k, name in enumerate(FAULTS)}
    made = tables(came, (), [replace(swings, more=flags)])
    names = session_names(came)
    # Swings are numbered as they come, so that the same order of sessions gives the same numbers here.
    numbered = pl.DataFrame({"session": names[swings.visit]} | flags).with_columns(
        swing_no=pl.int_range(1, pl.len() + 1, dtype=pl.Int32).over("session")
    )
    judged = numbered.unpivot(
        on=list(FAULTS), index=["session", "swing_no"], variable_name="fault", value_name="flagged"
    ).with_columns(severity=pl.col("flagged").cast(pl.Float64), rule_version=pl.lit("1"))
    who, what = np.nonzero(rises)
    truth = pl.DataFrame(
        {
            "student": [code(s) for s in who], "fault": [FAULTS[f] for f in what],
            "day": [START.date() + timedelta(days=int(day)) for day in since[who, what]], "change": [by] * who.size,
        },
        schema={"student": pl.String, "fault": pl.String, "day": pl.Date, "change": pl.Float64},
    )  # fmt: skip
    return SeasonWorld(made | {"academy.swing_fault": judged}, faults=truth)
