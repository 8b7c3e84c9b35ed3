"""What the models say of one simulated academy, scored against its truth: counts that add up over academies."""

from collections import Counter

import numpy as np
import polars as pl

from calibration.academies import COACHES, DRILLS, SWC, WORTH, Academy
from models.season.cells import baseline, fit_cell, share_of_holders, swing_variance
from models.season.coach import coach_gains
from models.season.drill import HELPS, AimFit, labels
from models.season.drill_data import METRIC, Aim
from models.season.drill_model import design_of, variance_parts
from models.season.judgement import IMPROVING, SLIPPING, Bands
from models.season.ledger import claims, listed
from models.season.reliability import detectable_change, typical_error
from models.season.student_gain import item_slopes, student_gains
from models.season.trend import student_lines
from warehouse.tables import columns

NO_BANDS = Bands(pl.DataFrame(schema={"metric": pl.String, "club_family": pl.String}), {}, {})


def score(truth: str, academy: Academy) -> Counter:
    """Claim → how often it held and of how many, as `claim` and `claim/of`."""
    if truth in COACHES:
        return coach_score(academy)
    return drill_score(academy) if truth in DRILLS else line_score(academy)


def line_score(academy: Academy) -> Counter:
    """Coverage of the change's interval, and labels by true change."""
    rows = baseline(academy.sessions)
    fit = fit_cell(rows)
    key = ("spring", "iron", "m")
    fits = share_of_holders({key: rows}, {key: fit}) if fit else {}
    lines = student_lines(rows, fits, {"m": "up"}, NO_BANDS)
    found = lines.trend
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
    nothing_else = [
        pl.DataFrame(schema=columns(f"season.{name}")) for name in ("new_fault_chance", "outcome_chance")
    ]
    for row in listed(claims(lines.chance, *nothing_else)).iter_rows(named=True):
        true = academy.change[row["student"]]
        _add(counts, "wrong", true <= 0 if row["kind"] == IMPROVING else true >= 0)
    counts["listed"] += counts["wrong/of"]
    counts["listed/of"] += len(found)
    return counts


def coach_score(academy: Academy) -> Counter:
    """Coverage of each coach's gain, in the academy's own smallest detectable changes."""
    rows = baseline(academy.sessions)
    fit = fit_cell(rows)
    counts: Counter = Counter()
    fits = {("spring", "iron", "m"): fit} if fit else {}
    items = item_slopes(rows, fits, {"m": "up"}, NO_BANDS)
    names = sorted(academy.gains)
    students = sorted(set(items["student"]))
    share = np.array([[float(academy.coach[student] == name) for name in names] for student in students])
    found = coach_gains(student_gains(items, share), share, np.ones((len(students), 1))) if fit else None
    if fit is None or found is None:
        counts["unfitted"] += 1
        return counts
    unit = detectable_change(typical_error(fit["sd_session"], fit["sd_swing"], fit["swings"]))
    for k, name in enumerate(names):
        _add(counts, "coach", found.lo[k] <= academy.gains[name] / unit <= found.hi[k])
    return counts


def drill_score(academy: Academy) -> Counter:
    """Bias and coverage of each drill's kept effect, what before and after would say, and who is called Helps."""
    rows = baseline(academy.sessions)
    aim = Aim("spring", "m", METRIC, "points", "iron", rows, swing_variance(rows), None)
    course = design_of(aim, academy.dose, WORTH)
    parts = variance_parts(course) if course else None
    counts: Counter = Counter()
    if course is None or parts is None:
        counts["unfitted"] += 1
        return counts
    answers = AimFit(course, parts)
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
