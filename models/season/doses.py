"""How often a student had been given a drill before each session, and which doses lots decided.

A dose set in a lesson counts from the next session on: today's baseline was swung before it. Doses before the
student's first session of the season don't count, since nothing was measured before them.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from models.season.cells import DAYS_A_MONTH
from models.season.kernel import COUNTS, FLOATS

LEAST_FIRST, LEAST_MORE = 3, 6  # students that a drill's first and its later doses must reach for a column
LONGEST = 3.0  # months: by then what fades has faded
_COUNT = pl.len().cast(pl.Float64)
_MONTHS_SINCE = ((pl.col("day") - pl.col("set_on")).min().dt.total_days() / DAYS_A_MONTH).clip(
    upper_bound=LONGEST
)


@dataclass(frozen=True)
class Doses:
    """Drills in order; (N, K) doses in lessons and (N, K) at home before each row, K drills.

    `since` (N, K): 30-day months since the last lesson dose, at most 3; 0 before the first.
    `drawn` (N, K): whether lots decided the student's first lesson dose of that drill.
    """

    drills: list[str]
    lesson: FLOATS
    home: FLOATS
    since: FLOATS
    drawn: FLOATS

    def last(self, offsets: COUNTS) -> FLOATS:
        """(S, K) lesson doses before each student's last session."""
        return self.lesson[offsets[1:] - 1]


def counted(sessions: pl.DataFrame, dose: pl.DataFrame) -> Doses:
    """Doses before each row of `sessions` (student, session, started_at, day; in its order).

    `dose`: rows of academy.drill_dose.
    """
    rows = sessions.select("student", "session", "started_at", "day").with_row_index("row")
    first = rows.group_by("student").agg(first=pl.col("started_at").min(), first_day=pl.col("day").min())
    given = (
        dose.select("student", "drill", "kind", "at", "drawn_against", set_in="session", set_on="day")
        .join(first, on="student")
        .filter((pl.col("at") >= pl.col("first")) | (pl.col("set_on") >= pl.col("first_day")))
    )
    earlier_today = (pl.col("set_on") == pl.col("day")) & (pl.col("at") < pl.col("started_at"))
    elsewhere = (pl.col("set_in") != pl.col("session")).fill_null(value=False)
    before = rows.join(given, on="student").filter(
        (pl.col("set_on") < pl.col("day")) | (earlier_today & elsewhere)
    )
    drills = sorted(given["drill"].unique().to_list())
    lesson = pl.col("kind") == "drill"
    return Doses(
        drills,
        _table(before.filter(lesson), len(rows), drills),
        _table(before.filter(~lesson), len(rows), drills),
        _table(before.filter(lesson), len(rows), drills, _MONTHS_SINCE),
        _drawn(rows, given.filter(lesson), drills),
    )


def _table(before: pl.DataFrame, height: int, drills: list[str], value: pl.Expr = _COUNT) -> FLOATS:
    """(N, K) `value` of the doses before each row, 0 where there are none."""
    table = np.zeros((height, len(drills)))
    found = before.group_by("row", "drill").agg(value=value)
    place = {drill: k for k, drill in enumerate(drills)}
    at = [place[drill] for drill in found["drill"]]
    table[found["row"].to_numpy().astype(np.intp), at] = found["value"].to_numpy()
    return table


def _drawn(rows: pl.DataFrame, given: pl.DataFrame, drills: list[str]) -> FLOATS:
    """(N, K) 1 on the rows of students whose first lesson dose of that drill lots decided."""
    table = np.zeros((len(rows), len(drills)))
    firsts = given.sort("at", "drill").group_by("student", "drill").agg(pl.col("drawn_against").first())
    lucky = rows.join(firsts.filter(pl.col("drawn_against").is_not_null()), on="student")
    place = {drill: k for k, drill in enumerate(drills)}
    table[lucky["row"].to_numpy().astype(np.intp), [place[drill] for drill in lucky["drill"]]] = 1.0
    return table


def columns(doses: Doses, offsets: COUNTS) -> dict[str, FLOATS]:
    """Name → fixed column (N,): what a drill's doses may do to a value.

    `first DRILL` 1(D ≥ 1), where 3 students reach it; `more DRILL` max(D − 1, 0) and `home DRILL` 1(H ≥ 1),
    where 6 do; `since DRILL` the months since the last dose, where 6 students end a month or more after it.
    Without the last, a gain that fades would be told by its best weeks.
    """
    found: dict[str, FLOATS] = {}
    ends = offsets[1:] - 1
    for k, drill in enumerate(doses.drills):
        lesson, home = doses.lesson[:, k], doses.home[:, k]
        if np.count_nonzero(lesson[ends] >= 1) >= LEAST_FIRST:
            found[f"first {drill}"] = (lesson >= 1).astype(np.float64)
            if np.count_nonzero(lesson[ends] >= 2) >= LEAST_MORE:
                found[f"more {drill}"] = np.maximum(lesson - 1, 0)
            if np.count_nonzero(doses.since[ends, k] >= 1) >= LEAST_MORE:
                found[f"since {drill}"] = doses.since[:, k]
        if np.count_nonzero(home[ends] >= 1) >= LEAST_MORE:
            found[f"home {drill}"] = (home >= 1).astype(np.float64)
    return found
