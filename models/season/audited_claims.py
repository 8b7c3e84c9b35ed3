"""Claims beside the lines', scored by later visits: new faults, drills, and agreed aims.

Each function takes what was known before a day, `made`, and what came since, and returns rows of CLAIMS: what
is claimed, whether it was borne out, with what chance it should be if the model is right, and with what
chance it would be if there were nothing in it (null where that means nothing).
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta
from os import cpu_count
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from models.season.agreed_aim import Measured, counted_once, judge, prepared
from models.season.cells import DAYS_A_MONTH, CellKey, Parameter
from models.season.drill import aim_design, aim_fit, labels
from models.season.drill_data import Sources
from models.season.drill_model import ENOUGH_STUDENTS, AimFit, Design, Effect
from models.season.faultrate import baseline_sessions, effective_swings, fit_priors
from models.season.ledger import claims, listed
from models.season.new_fault import as_seen, new_fault_chances, share_changed
from warehouse.vocabulary import (
    AIM_REACHED,
    DRILL_HELPS,
    DRILL_NOT_CLEAR,
    HELPS,
    NEW_FAULT,
    NO_CLEAR_EFFECT,
    REACHED,
)

CLAIMS = {
    "season": pl.String, "made": pl.Date, "kind": pl.String, "claim": pl.String, "borne_out": pl.Boolean,
    "chance": pl.Float64, "by_chance": pl.Float64,
}  # fmt: skip
BEFORE, SINCE = "before", "since"
OF_LABEL = {HELPS: DRILL_HELPS, NO_CLEAR_EFFECT: DRILL_NOT_CLEAR}
Row = dict[str, Any]


def new_fault_claims(
    session_fault: pl.DataFrame,
    change_chance: pl.DataFrame,
    outcome_chance: pl.DataFrame,
    made: date,
    until: date,
) -> pl.DataFrame:
    """New faults that the ledger first lists from `made` on, before `until`; priors are of before `made`.

    Borne out: since then the rate is past half-way between what it was before and what it was when listed.
    Every frame is of one season; the chances of changes and outcomes share the ledger. Where heel loads come
    from another source since, only what that source measured counts.
    """
    fitted, known = session_fault.filter(pl.col("day") < made), pl.col("day") < until
    if fitted.is_empty():
        return pl.DataFrame(schema=CLAIMS)
    season, keys = str(fitted["season"][0]), ["student", "fault", "club_family"]
    sessions = baseline_sessions(session_fault)
    seen = as_seen(sessions.filter(known), fit_priors(fitted))
    changed = share_changed(seen.filter(pl.col("day") < made))
    new = new_fault_chances(seen, {season: changed})
    first = listed(claims(change_chance.filter(known), new, outcome_chance.filter(known)))
    looks = (
        seen.with_columns(since=pl.col("day").dt.truncate("1w"))
        .unique([*keys, "since"], keep="last")
        .join(first.filter(kind=NEW_FAULT).rename({"subject": "fault"}), on=[*keys, "since"])
        .filter(pl.col("day") >= made)
    )
    later = (
        sessions.join(looks, on=keys, suffix="_listed")
        .filter(pl.col("day") > pl.col("day_listed"))
        .group_by(keys)
        .agg(y=pl.col("flagged").sum(), n=pl.col("usable").sum(), squares=(pl.col("usable") ** 2).sum())
    )
    rows: list[Row] = []
    for row in looks.join(later, on=keys).sort(keys).iter_rows(named=True):
        a, b, y, rest = row["a_before"], row["b_before"], row["y_now"], row["n_now"] - row["y_now"]
        half_way = (a / (a + b) + (1 + y) / (2 + y + rest)) / 2
        swings = float(effective_swings(row["n"], row["squares"], row["rho"]))
        higher, alike = (share_past(half_way, *of, swings) for of in ((1 + y, 1 + rest), (a + y, b + rest)))
        p = special.expit(row["log_odds"] + special.logit(changed))
        rows.append(
            {"kind": NEW_FAULT, "claim": " ".join(row[key] for key in keys),
             "borne_out": row["y"] > half_way * row["n"], "chance": p * higher + (1 - p) * alike,
             "by_chance": alike}
        )  # fmt: skip
    return _claims(rows, season, made)


def share_past(least: float, a: float, b: float, swings: float) -> float:
    """Chance that more than the share `least` of so many swings show a fault whose rate is Beta(a, b).

    The share's mean and variance are those of the beta-binomial; its form is taken to be a beta.
    """
    both = a + b
    strength = max((both + 1) * swings / (both + swings) - 1, 1e-6)
    return float(special.betaincc(strength * a / both, strength * b / both, least))


def drill_claims(sources: Sources, season: str, made: date) -> pl.DataFrame:
    """Drills that were called Helps or No clear effect on the day `made`, each by its own aim.

    Borne out: what it kept with those who were given it since that day alone lies inside the 90 % interval
    claimed. Drills with fewer than eight such students are left out.
    """
    own = {drill: aim for drill, aim in sources.drills.items() if aim is not None}
    designs = {aim: aim_design(sources, season, aim) for aim in set(own.values())}
    given = {
        drill: (design, _given(design, drill, made))
        for drill, aim in own.items()
        if (design := designs[aim]) is not None
    }
    scored = [drill for drill, (_, when) in given.items() if when.count(SINCE) >= ENOUGH_STUDENTS]
    if not scored:
        return pl.DataFrame(schema=CLAIMS)
    known = {
        name: getattr(sources, name).filter(pl.col("day") < made) for name in ("metrics", "faults", "dose")
    }
    # What is worthwhile is known of the whole season; the fits say what it was by then.
    then = replace(sources, **known, reference=replace(sources.reference, worthwhile={}))

    def fit_then(aim: str) -> AimFit | None:
        design = aim_design(then, season, aim)
        return None if design is None else aim_fit(then, design)

    aims = sorted(designs)
    with ThreadPoolExecutor(cpu_count()) as threads:
        fits = dict(zip(aims, threads.map(fit_then, aims), strict=True))
    kept = {drill: fit.kept(drill) for drill, aim in own.items() if (fit := fits[aim]) is not None}
    rows: list[Row] = []
    for (drill, one), (label, _) in zip(kept.items(), labels(list(kept.values())), strict=True):
        claimed, fit = one.effect, fits[own[drill]]
        if label not in OF_LABEL or drill not in scored or claimed is None or fit is None:
            continue
        design, when = given[drill]
        since = AimFit(design, fit.parts).kept_by(drill, when)[SINCE].effect
        if since is not None:
            both = float(np.hypot(claimed.se, since.se))
            by_chance = inside(claimed, 0.0, since.se) if label == HELPS else None
            rows.append(
                {"kind": OF_LABEL[label], "claim": drill, "chance": inside(claimed, claimed.value, both),
                 "borne_out": claimed.lo <= since.value <= claimed.hi, "by_chance": by_chance}
            )  # fmt: skip
    return _claims(rows, season, made)


def _given(design: Design, drill: str, made: date) -> list[str | None]:
    """Each student's group: the first dose that counts came before the day `made`, or since; None: none."""
    if drill not in design.doses.drills:
        return [None] * len(design.students)
    had = design.doses.lesson[:, design.doses.drills.index(drill)] >= 1
    late = (design.aim.rows["day"] >= made).to_numpy()
    ever, early = (
        np.bincount(design.cell.owner, rows, len(design.students)) > 0 for rows in (had, had & ~late)
    )
    return [(BEFORE if first else SINCE) if some else None for some, first in zip(ever, early, strict=True)]


def inside(claimed: Effect, mean: float, sd: float) -> float:
    """Chance that an estimate about `mean` lies inside the interval claimed."""
    return float(special.ndtr((claimed.hi - mean) / sd) - special.ndtr((claimed.lo - mean) / sd))


def aim_claims(
    aims: Sequence[Row],
    rows: pl.DataFrame,
    fits: Mapping[CellKey, Parameter],
    better: Mapping[str, str],
    made: date,
    until: date,
) -> pl.DataFrame:
    """Agreed aims that show from `made` on, before `until`, under the fits of before `made`.

    Borne out: the visits since are on average past half-way through the change.
    `rows`: as `cells.baseline` gives them, of one season.
    """
    if not aims or rows.is_empty():
        return pl.DataFrame(schema=CLAIMS)
    season, whole = str(rows["season"][0]), counted_once(rows, fits)
    measured, then = (
        Measured.of(aims, some, fits, better) for some in (whole, whole.filter(pl.col("day") < until))
    )
    today = max(whole["day"])
    found: list[Row] = []
    for aim in (one for one in aims if one["agreed"] < until and one["due"] >= made):
        judged = judge(aim, then, until - timedelta(days=1))
        row, course = prepared(aim, measured, today)
        if course is None:
            continue
        weights = np.array(row["weights"])
        if judged["label"] == REACHED and made <= judged["looked"] < until:
            known = len(course.upto((judged["looked"] - aim["agreed"]).days / DAYS_A_MONTH).t)
            if known == len(course.t):
                continue
            half_way, expected, se = course.foreseen(weights, known)
            chance, by_chance = special.ndtr((expected - half_way) / se)
            since = float((course.y[known:] @ weights).mean())
            found.append(
                {"kind": AIM_REACHED, "claim": aim["note"], "borne_out": since > half_way, "chance": chance,
                 "by_chance": by_chance}
            )  # fmt: skip
    return _claims(found, season, made)


def _claims(rows: Sequence[Row], season: str, made: date) -> pl.DataFrame:
    return pl.DataFrame([row | {"season": season, "made": made} for row in rows], schema=CLAIMS)
