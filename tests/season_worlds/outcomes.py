"""Session values of an academy in which a share of students grow steadier, lose in pauses, or keep a gain to slow pace.

Written from the description of the outcomes alone. Values are normal: a student's own level, a session's error, and
swings about it; a student who changes does so evenly from the first visit to the last.
"""

from datetime import date, datetime, time, timedelta

import numpy as np
import polars as pl

FIRST = date(2026, 3, 2)
SWC, SESSION_SD, SWING_SD, STUDENT_SD = 1.2, 3.0, 4.0, 6.0


def sessions(
    rng, students=40, metrics=6, *, share=0.0, steadier=1.0, lost_a_pause=0.0, behind=0.0, other_club=0.0
) -> tuple[pl.DataFrame, set[str]]:
    """Rows as of season.session_metric, and the students who change: a `share` of all.

    Over their visits the standard deviation of their swings is divided by `steadier`; in each pause of five weeks they lose
    `lost_a_pause`; slow swings gain `behind` more than full ones, and irons `other_club` more than drivers, all in
    smallest worthwhile changes.
    """
    rows, changing = [], set()
    for s in range(students):
        visits = int(rng.integers(8, 15))
        gaps = np.where(rng.random(visits) < 0.2, 35, rng.integers(7, 15, visits))
        days = np.cumsum(gaps) - gaps[0]
        changes = rng.random() < share
        name = f"s{s:02d}"
        if changes:
            changing.add(name)
        way = days / days[-1] * changes
        lost = np.cumsum(np.where(gaps >= 28, lost_a_pause, 0.0) * (np.arange(visits) > 0)) * changes * SWC
        for m in range(metrics):
            level, own = rng.normal(50, STUDENT_SD), SWING_SD * rng.lognormal(0, 0.2)
            for k, day in enumerate(days):
                form = rng.normal(0, SESSION_SD)
                sd = own / steadier ** way[k]
                for pace, club, gain in (
                    ("full", "iron", 0.0),
                    ("slow", "iron", behind),
                    ("full", "driver", -other_club),
                ):
                    n = int(rng.integers(6, 10)) if (pace, club) == ("full", "iron") else 4
                    swings = rng.normal(level - lost[k] + form + gain * SWC * way[k], sd, n)
                    at = FIRST + timedelta(days=int(day))
                    rows.append((f"{at}-{name}", name, datetime.combine(at, time(9)), at, club, pace, f"m{m}",
                                 swings.mean(), swings.std(ddof=1), n))  # fmt: skip
    names = ["session", "student", "started_at", "day", "club_family", "pace", "metric", "mean", "sd", "n"]
    frame = pl.DataFrame(rows, schema=names, orient="row")
    return frame.with_columns(
        season=pl.lit("2026"), part=pl.lit("baseline"), device=pl.lit("mat"), heel_source=pl.lit("none")
    ), changing
