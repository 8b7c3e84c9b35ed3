"""What the models say of one simulated academy, scored against its truth: counts that add up over academies."""

from collections import Counter

import numpy as np
import polars as pl

from calibration.academies import DRILLS, SWC, Academy
from models.season.aims import METRIC, Aim
from models.season.cells import baseline, fit_cell, swing_variance
from models.season.drill import HELPS, Answers, labels
from models.season.judgement import IMPROVING, SLIPPING, Bands
from models.season.trend import student_lines
from models.season.wholecourse import course_of, variance_parts

NO_BANDS = Bands(pl.DataFrame(schema={"metric": pl.String, "club_family": pl.String}), {}, {})


def score(truth: str, academy: Academy) -> Counter:
    """Claim → how often it held and of how many, as `claim` and `claim/of`."""
    return drill_score(academy) if truth in DRILLS else line_score(academy)


def line_score(academy: Academy) -> Counter:
    """Coverage of the change's interval, and labels by true change."""
    rows = baseline(academy.sessions)
    fit = fit_cell(rows)
    found = student_lines(rows, {("spring", "iron", "m"): fit} if fit else {}, {"m": "up"}, NO_BANDS).trend
    counts: Counter = Counter()
    for row in found.iter_rows(named=True):
        if row["change"] is None:
            counts["unfitted"] += 1
            continue
        true = academy.change[row["student"]]
        called = row["label"] in (IMPROVING, SLIPPING)
        _add(counts, "cover", row["change_lo"] <= true <= row["change_hi"])
        if abs(true) < 1e-9:
            _add(counts, "zero", called)
        for size in (2, 4):
            if abs(abs(true) - size * SWC) < 1e-9:
                _add(counts, f"power{size}", row["label"] == (IMPROVING if true > 0 else SLIPPING))
    return counts


def drill_score(academy: Academy) -> Counter:
    """Bias and coverage of each drill's kept effect, what before and after would say, and who is called Helps."""
    rows = baseline(academy.sessions)
    aim = Aim("spring", "m", METRIC, "points", "iron", rows, swing_variance(rows), None)
    course = course_of(aim, academy.dose)
    parts = variance_parts(course) if course else None
    counts: Counter = Counter()
    if course is None or parts is None:
        counts["unfitted"] += 1
        return counts
    answers = Answers(course, parts)
    kept = {drill: answers.kept(drill) for drill in academy.kept}
    for (drill, one), (label, _) in zip(kept.items(), labels(list(kept.values())), strict=True):
        if one.effect is None or not one.enough:
            continue
        true = academy.kept[drill]
        _add(counts, f"{drill}/cover", one.effect.lo <= true <= one.effect.hi)
        _add(counts, f"{drill}/bias", one.effect.value - true)
        _add(counts, f"{drill}/plain", before_after(academy, drill) - true)
        _add(counts, f"{drill}/helps", label == HELPS)
    return counts


def before_after(academy: Academy, drill: str) -> float:
    """The easy wrong answer: the session after a dose less the one it was given in."""
    order = academy.sessions.sort("student", "started_at").with_columns(
        after=pl.col("mean").shift(-1).over("student")
    )
    given = order.join(academy.dose.filter(pl.col("drill") == drill), on="session")
    return float(np.nanmean((given["after"] - given["mean"]).drop_nulls().to_numpy()))


def _add(counts: Counter, name: str, value: float) -> None:
    counts[name] += float(value)
    counts[name + "/of"] += 1
