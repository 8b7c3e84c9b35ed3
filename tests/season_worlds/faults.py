"""Worlds of faults: how often each shows in a season's swings, where nothing changes or a few get worse."""

from datetime import timedelta

import numpy as np
import polars as pl

from season_worlds.academy import (
    DAYS,
    START,
    SeasonWorld,
    Swings,
    Visits,
    code,
    session_names,
    tables,
    visits,
)

FAULTS = (
    "trail_heel_down",
    "lead_heel_heavy",
    "stays_centred",
    "trail_push",
    "little_lead_load",
    "trail_heel_sink",
)
PACES = ("slow", "half", "full")


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
    visit = np.repeat(np.arange(came.count), came.swings)
    flags = rng.random((visit.size, len(FAULTS))) < session[visit]
    who, what = np.nonzero(rises)
    truth = pl.DataFrame(
        {
            "student": [code(s) for s in who], "fault": [FAULTS[f] for f in what],
            "day": [START.date() + timedelta(days=int(day)) for day in since[who, what]], "change": [by] * who.size,
        },
        schema={"student": pl.String, "fault": pl.String, "day": pl.Date, "change": pl.Float64},
    )  # fmt: skip
    same = pl.DataFrame(
        [(code(s), FAULTS[f], rate[s, f]) for s, f in zip(*np.nonzero(~rises), strict=True)],
        schema={"student": pl.String, "fault": pl.String, "rate": pl.Float64},
        orient="row",
    )
    return SeasonWorld(_tables(came, visit, flags), faults=truth, rates=same)


def paces(students: int, seed: int, *, clustering: float = 0.15) -> SeasonWorld:
    """Every visit has ten swings at each pace; a fault shows more often the faster the swing, and nothing changes.

    A student's rates at slow, half and full pace are 1 apart in log odds, about N(-1.4, 1.2²): some hold at no pace,
    some at each. Swings of one session and pace resemble each other as in `fault_rates`.
    """
    rng = np.random.default_rng(seed)
    came = visits(rng, students, swings=(30, 30))
    middle = rng.normal(-1.4, 1.2, (students, len(FAULTS)))
    rate = 1 / (1 + np.exp(-(middle[:, None, :] + np.array([-1.0, 0.0, 1.0])[:, None])))  # (S, paces, F)
    strength = (1 - clustering) / clustering
    true = rate[came.student]
    session = rng.beta(true * strength, (1 - true) * strength)
    visit, pace = np.repeat(np.arange(came.count), 30), np.tile(np.repeat([0, 1, 2], 10), came.count)
    flags = rng.random((visit.size, len(FAULTS))) < session[visit, pace]
    rows = [
        (code(s), FAULTS[f], PACES[k], rate[s, k, f])
        for s in range(students)
        for k in range(3)
        for f in range(len(FAULTS))
    ]
    truth = pl.DataFrame(rows, schema=["student", "fault", "pace", "rate"], orient="row")
    return SeasonWorld(_tables(came, visit, flags, np.array(PACES)[pace]), rates=truth)


def _tables(
    came: Visits, visit: np.ndarray, flags: np.ndarray, pace: np.ndarray | None = None
) -> dict[str, pl.DataFrame]:
    """The academy's tables; `flags` (N, F) of swings in the order in which they were swung."""
    swings = Swings(visit, np.empty((visit.size, 0)), more={} if pace is None else {"pace": pace})
    whose = np.array([code(student) for student in came.student])
    numbered = pl.DataFrame({"session": session_names(came)[visit], "student": whose[visit]}).with_columns(
        **{name: flags[:, k] for k, name in enumerate(FAULTS)},
        swing_no=pl.int_range(1, pl.len() + 1, dtype=pl.Int32).over("session"),
    )
    judged = numbered.unpivot(
        on=list(FAULTS), index=["session", "student", "swing_no"], variable_name="fault", value_name="flagged"
    ).with_columns(severity=pl.col("flagged").cast(pl.Float64), rule_version=pl.lit("1"))
    return tables(came, (), [swings]) | {"academy.swing_fault": judged}
