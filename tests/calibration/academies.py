"""Simulated academies whose truth is known. Nothing of the models is used here, only NumPy and plain frames.

Units: the spread between students is 5, so a smallest worthwhile change (0.2 of it) is 1. A session's value
has a spread of its own of 1, a swing one of 2, with 6 to 9 swings a session and 5 to 10 sessions over 160 days.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import polars as pl

SD_STUDENT, SD_SESSION, SD_SWING, SWC = 5.0, 1.0, 2.0, 1.0
DAYS = 160
START = datetime(2026, 4, 6, 9, 0)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
# How the simulated students move: codes of season.calibration, in words in dashboard/text/claims.py.
MOVES = ("slopes", "holds", "walks", "plateau", "tied", "mixed", "drifting", "device")
DRILLS = ("linear", "saturating", "fading")
COACHES = ("coaches",)
TRUTHS = MOVES + DRILLS + COACHES
COACH_COUNT, SD_COACH, SD_OWN = 4, 0.8, 1.0  # gains per 90 days
WORTH = {"good": 2.0, "worthless": 0.0}  # of a drill, in SWC


@dataclass
class Academy:
    """Rows shaped like season.session_metric and academy.drill_dose, and what is true of them.

    `change` by student, from first to last session; `kept` by drill, the mean true gain at the season's end
    among those given it before their last session. `coach` of each student, and `gains` by coach: true change
    in 90 days.
    """

    sessions: pl.DataFrame
    change: dict[str, float]
    dose: pl.DataFrame
    kept: dict[str, float] = field(default_factory=dict)
    coach: dict[str, str] = field(default_factory=dict)
    gains: dict[str, float] = field(default_factory=dict)


def visits(rng: np.random.Generator) -> np.ndarray:
    """Days of one student's sessions."""
    count = int(rng.integers(5, 11))
    first, last = int(rng.integers(0, 15)), DAYS - int(rng.integers(0, 30))
    between = rng.choice(np.arange(first + 3, last - 2), count - 2, replace=False)
    return np.sort(np.concatenate([[first, last], between]))


def true_path(truth: str, t: np.ndarray, start: float, rng: np.random.Generator) -> np.ndarray:
    """The student's change at each session, in months `t` since the first one."""
    share = t / t[-1]
    if truth == "slopes":
        return share * rng.normal(0, 2.5)
    if truth == "holds":
        return 0 * share
    if truth == "walks":
        return np.concatenate([[0.0], np.cumsum(rng.normal(size=t.size - 1) * np.sqrt(np.diff(t)))])
    if truth == "plateau":
        return np.minimum(share / 0.4, 1.0) * rng.normal(2, 2)
    if truth == "tied":
        return share * (-0.35 * start + rng.normal(0, 1.5))
    if truth in {"mixed", "device"}:
        return share * rng.choice([0, 0, 0, 0, 2, -2, 2, 4, -4, 4 * rng.choice([-1, 1])])
    if truth == "drifting":
        return share * (0.0 if rng.random() < 0.4 else rng.normal(3.2, 1.5))
    return share * rng.normal(0, 2.0)  # under the drills


def made(truth: str, students: int, rng: np.random.Generator) -> Academy:
    """One academy."""
    rows, doses, change = [], [], {}
    left: dict[str, list[float]] = {drill: [] for drill in WORTH}
    gains = {f"c{k}": 0.6 + rng.normal(0, SD_COACH) for k in range(COACH_COUNT)} if truth in COACHES else {}
    coach = {f"s{i:03d}": f"c{i % COACH_COUNT}" for i in range(students)} if gains else {}
    for i in range(students):
        name, day = f"s{i:03d}", visits(rng)
        start = rng.normal(0, SD_STUDENT)
        path = true_path(truth, (day - day[0]) / 30, start, rng)
        if gains:
            path = (day - day[0]) / 90 * (gains[coach[name]] + rng.normal(0, SD_OWN))
        device = "other" if truth == "device" and i % 4 == 0 else "mat"
        given: list[tuple[int, str]] = []
        seen: list[float] = []
        for k, at in enumerate(day):
            swings = int(rng.integers(6, 10))
            mark = device if k >= day.size // 2 else "mat"
            added = sum(_gain(truth, drill, given, int(at)) for drill in WORTH)
            value = 60 + start + path[k] + added + 3.0 * (mark == "other")
            each = value + rng.normal(0, SD_SESSION) + rng.normal(0, SD_SWING, swings)
            rows.append(
                (
                    f"{name}-{k}",
                    name,
                    START + timedelta(days=int(at)),
                    mark,
                    each.mean(),
                    each.std(ddof=1),
                    swings,
                )
            )
            if truth in DRILLS:
                bad = np.mean(seen) - each.mean() if seen else 60 - each.mean()
                if rng.random() < 1 / (1 + np.exp(-(bad - 0.5))):
                    given.append((int(at), str(rng.choice(list(WORTH)))))
                    doses.append(
                        (
                            f"{name}-{at}",
                            name,
                            f"{name}-{k}",
                            given[-1][1],
                            START + timedelta(days=int(at), minutes=30),
                        )
                    )
            seen.append(float(each.mean()))
        change[name] = float(path[-1] - path[0])
        for drill in WORTH:
            if any(d == drill and at < day[-1] for at, d in given):
                left[drill].append(_gain(truth, drill, given, int(day[-1])))
    kept = {drill: float(np.mean(values)) for drill, values in left.items() if values}
    return Academy(_sessions(rows), change, _doses(doses), kept, coach, gains)


def _gain(truth: str, drill: str, given: list[tuple[int, str]], at: int) -> float:
    """What the doses of a drill before day `at` are worth on it."""
    ages = [at - day for day, d in given if d == drill and day < at]
    if not ages or truth not in DRILLS:
        return 0.0
    if truth == "linear":
        return WORTH[drill] / 2 * len(ages)
    if truth == "saturating":
        return WORTH[drill]
    return WORTH[drill] * float(np.exp(-np.log(2) * min(ages) / 30))


def _sessions(rows: list[tuple]) -> pl.DataFrame:
    named = pl.DataFrame(
        rows, schema=["session", "student", "started_at", "device", "mean", "sd", "n"], orient="row"
    )
    return named.with_columns(
        day=pl.col("started_at").dt.date(), coach=pl.lit("c1"), season=pl.lit("spring"), club_family=pl.lit("iron"),
        part=pl.lit("baseline"), pace=pl.lit("full"), heel_source=pl.lit("none"), metric=pl.lit("m"),
    )  # fmt: skip


def _doses(rows: list[tuple]) -> pl.DataFrame:
    schema = {
        "note": pl.String,
        "student": pl.String,
        "session": pl.String,
        "drill": pl.String,
        "at": pl.Datetime("us"),
    }
    return pl.DataFrame(rows, schema=schema, orient="row").with_columns(
        day=pl.col("at").dt.date(), kind=pl.lit("drill")
    )
