"""What each drill is worth: kept, on the day, assigned by random draw, pooled by aim, and for whom.

`drill_rows` reads the warehouse and returns rows of season.drill_effect and season.drill_group. The kept
effect is that of the season's model (drill_model.py); beside it are the same day (drill_day.py), random draws
(drill_draw.py) and a plain look from session to session (drill_checks.py). Every effect is toward better. All
is fitted on the whole academy, so only by builds.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from typing import Any, NamedTuple

import numpy as np
import polars as pl

from models.season.drill_checks import lagged_effects
from models.season.drill_data import FAULT, METRIC, Aim, Sources, fault_aim, metric_aim, read_sources
from models.season.drill_day import SameDay, followed, same_day
from models.season.drill_draw import Drawn, drawn
from models.season.drill_model import (
    AimFit,
    Design,
    Effect,
    Kept,
    counts,
    design_of,
    is_enough,
    variance_parts,
)
from models.season.estimation import Z90, false_discovery, shrink_to_mean
from warehouse.store import Writer
from warehouse.vocabulary import (
    CHANGE,
    HARMS,
    HELPS,
    KEEP,
    NO_CLEAR_EFFECT,
    STOP,
    TOO_LITTLE_DATA,
    TRY,
    age,
    age_group,
)

SURE, MOST_FALSE = 0.05, 0.10
MANY_DOSES = 40  # set in lessons; a drill without a clear effect by then is not set on as it is
Row = dict[str, Any]


class DrillRows(NamedTuple):
    """Rows of season.drill_effect and season.drill_group."""

    effect: pl.DataFrame
    group: pl.DataFrame


@dataclass(frozen=True)
class AimAnswers:
    """One aim in one season: its fit (None where no drill was given enough), and what is shown beside it."""

    aim: Aim
    design: Design
    fit: AimFit | None
    on_the_day: dict[str, SameDay]
    drawn: dict[str, Drawn]
    lagged_effects: dict[str, tuple[float, float, float]]


def drill_rows(writer: Writer) -> DrillRows:
    """Rows of every season's drills."""
    return answer(read_sources(writer))


def answer(sources: Sources) -> DrillRows:
    """Rows for every season in `sources`; one fit an aim, one thread a core."""
    seasons = sorted(set(sources.metrics["season"].drop_nulls()) | set(sources.faults["season"].drop_nulls()))
    aims = {aim for drill in sources.drills for aim in _aims(sources, drill)}
    keys = sorted((season, aim) for season in seasons for aim in aims)
    with ThreadPoolExecutor(cpu_count()) as threads:
        answers = dict(zip(keys, threads.map(lambda key: _answer_aim(sources, *key), keys), strict=True))
    effects = [row for season in seasons for row in _effects(sources, season, answers)]
    groups = [
        group for row in effects if is_enough(row["n_students"], row["n_doses"])
        for group in _groups(sources, answers.get((row["season"], row["aim"])), row)
    ]  # fmt: skip
    return DrillRows(*(pl.DataFrame(rows, infer_schema_length=None) for rows in (effects, groups)))


def _aims(sources: Sources, drill: str) -> list[str]:
    """A drill's own aim first, then the metrics that a fault's rule reads."""
    aim = sources.drills[drill]
    return [] if aim is None else [aim, *sources.reference.reads.get(aim, ())]


def _answer_aim(sources: Sources, season: str, name: str) -> AimAnswers | None:
    """Fit one aim; None where there is nothing to fit."""
    every, design = _aim(sources, season, name, part=None), aim_design(sources, season, name)
    if every is None or design is None:
        return None
    aim, fit = design.aim, aim_fit(sources, design)
    on_the_day = same_day(design, followed(every, sources.first_drill), fit)
    value = aim.rows["mean"] if aim.kind == METRIC else -100 * aim.rows["flagged"] / aim.rows["usable"]
    by_draw = drawn(design, sources.draws, fit)
    return AimAnswers(aim, design, fit, on_the_day, by_draw, lagged_effects(design, value.to_numpy()))


def aim_design(sources: Sources, season: str, name: str) -> Design | None:
    """One aim's sessions with the columns of its drills; None where there are too few."""
    aim = _aim(sources, season, name)
    return None if aim is None else design_of(aim, sources.dose, _aimed(sources, name))


def aim_fit(sources: Sources, design: Design) -> AimFit | None:
    """The fit of one aim; None where no drill was given enough."""
    if not any(is_enough(*counts(design, drill)) for drill in _aimed(sources, design.aim.name)):
        return None
    parts = variance_parts(design)
    return None if parts is None else AimFit(design, parts)


def _aimed(sources: Sources, name: str) -> list[str]:
    return [drill for drill in sources.drills if name in _aims(sources, drill)]


def _aim(sources: Sources, season: str, name: str, part: str | None = "baseline") -> Aim | None:
    """One aim's rows; None where there are none."""
    is_fault = name in sources.reference.reads
    column, table = ("fault", sources.faults) if is_fault else ("metric", sources.metrics)
    rows = table.filter(pl.col("season") == season, pl.col(column) == name)
    if rows.is_empty():
        return None
    return fault_aim(rows, part=part) if is_fault else metric_aim(rows, sources.reference, part=part)


def _effects(
    sources: Sources, season: str, answers: Mapping[tuple[str, str], AimAnswers | None]
) -> list[Row]:
    """Rows of season.drill_effect; q is taken over the drills' own aims, and over the metrics these read."""
    rows: list[Row] = []
    own = {drill: _aims(sources, drill)[:1] for drill in sources.drills}
    read_by_fault = {drill: _aims(sources, drill)[1:] for drill in sources.drills}
    for family in (own, read_by_fault):
        pairs: list[tuple[str, str | None]] = [(drill, aim) for drill in family for aim in family[drill]]
        pairs += [(drill, None) for drill in own if family is own and not own[drill]]
        kept = [_kept(answers.get((season, str(aim))), drill) for drill, aim in pairs]
        for (drill, aim), one, (label, q) in zip(pairs, kept, labels(kept), strict=True):
            found = answers.get((season, str(aim)))
            judged = {"label": label, "q": q, "advice": advice(one, label)}
            rows.append(_row(sources, season, drill, aim, found, one) | judged)
    for aim in {row["aim"] for row in rows} - {None}:
        same = [row for row in rows if row["aim"] == aim]
        near = pooled({row["drill"]: _kept(answers.get((season, aim)), row["drill"]) for row in same})
        for row in same:
            if row["drill"] in near:
                row["pooled"], row["pooled_lo"], row["pooled_hi"] = near[row["drill"]]
    return rows


def _kept(found: AimAnswers | None, drill: str) -> Kept:
    if found is None:
        return Kept(None, 0, 0, 0.0)
    if found.fit is None:
        return Kept(None, *counts(found.design, drill), 0.0)
    return found.fit.kept(drill)


def _row(
    sources: Sources, season: str, drill: str, aim: str | None, found: AimAnswers | None, kept: Kept
) -> Row:
    """One row of season.drill_effect, less label, q, advice and what is pooled."""
    row: Row = {"season": season, "drill": drill, "aim": aim}
    row |= {"n_students": kept.students, "n_doses": kept.doses}
    if aim is not None:
        row["aim_kind"] = FAULT if aim in sources.reference.reads else METRIC
        row["unit"] = "points" if row["aim_kind"] == FAULT else sources.reference.unit.get(aim)
    if kept.effect is not None and kept.enough:
        row |= _interval("kept", kept.effect) | {"p": kept.effect.p, "swc": kept.swc}
    if found is None:
        return row
    if (day := found.on_the_day.get(drill)) is not None:
        row |= {"same_day_kind": day.kind, "n_same_day": day.sessions, "n_compared": day.compared}
        if day.effect is not None:
            row |= _interval("same_day", day.effect)
    if drill in found.lagged_effects and kept.enough:
        names = ("cross_check", "cross_check_lo", "cross_check_hi")
        row |= dict(zip(names, found.lagged_effects[drill], strict=True))
    return row | _drawn(found.drawn.get(drill))


def _drawn(found: Drawn | None) -> Row:
    """What a random draw between this drill and another says."""
    if found is None:
        return {"n_lots": 0}
    row = {"n_lots": found.students, "lots_against": found.against, "lots_look": found.looks}
    return row | ({} if found.effect is None else _interval("lots", found.effect))


def _interval(name: str, found: Effect) -> Row:
    return {name: found.value, f"{name}_lo": found.lo, f"{name}_hi": found.hi}


def labels(kept: Sequence[Kept]) -> list[tuple[str, float | None]]:
    """Label and q of the drills of one season, q over those with enough data.

    Helps, Harms: one-sided p < 0.05 in the estimate's direction, q ≤ 0.10 of twice p (either direction
    counts), and an estimate beyond SWC. Too little data: under 8 students or 15 doses.
    """
    p = np.array([min(1.0, 2 * k.effect.p) if k.effect and k.enough else np.nan for k in kept])
    q = false_discovery(p)
    return [
        (_label(k, float(value)), None if np.isnan(value) else float(value))
        for k, value in zip(kept, q, strict=True)
    ]


def _label(kept: Kept, q: float) -> str:
    found = kept.effect
    if found is None or not kept.enough:
        return TOO_LITTLE_DATA
    if found.p < SURE and q <= MOST_FALSE and abs(found.value) > kept.swc:
        return HELPS if found.value > 0 else HARMS
    return NO_CLEAR_EFFECT


def advice(kept: Kept, label: str) -> str:
    """What to do with a drill, by what it kept.

    keep: it helps. stop: it harms, or with its interval's better end under the smallest worthwhile change it
    is not worth its time. Else the answer is open: change how it is set after 40 doses, until then try it.
    """
    if label in (HELPS, HARMS):
        return KEEP if label == HELPS else STOP
    if label == TOO_LITTLE_DATA or kept.effect is None:
        return TRY
    if kept.effect.hi < kept.swc:
        return STOP
    return CHANGE if kept.doses >= MANY_DOSES else TRY


def pooled(kept: Mapping[str, Kept]) -> dict[str, tuple[float, float, float]]:
    """Drill → its kept effect shrunk toward the mean of the drills with the same aim, 90 % interval.

    Empty with fewer than two drills to pool.
    """
    usable = {drill: k.effect for drill, k in kept.items() if k.effect is not None and k.enough}
    if len(usable) < 2:
        return {}
    value = np.array([found.value for found in usable.values()])
    se = np.array([(found.hi - found.lo) / (2 * Z90) for found in usable.values()])
    near, error = shrink_to_mean(value, se)
    return {
        drill: (float(m), float(m - Z90 * s), float(m + Z90 * s))
        for drill, m, s in zip(usable, near, error, strict=True)
    }


def _groups(sources: Sources, found: AimAnswers | None, row: Row) -> list[Row]:
    """Rows of season.drill_group behind one row of season.drill_effect."""
    if found is None or found.fit is None:
        return []
    students = found.fit.design.students
    first = dict(found.aim.rows.group_by("student").agg(pl.col("day").min()).iter_rows())
    people = [sources.people.get(student, (None, None)) for student in students]
    groupings: dict[str, list[str | None]] = {
        "level": [level for level, _ in people],
        # at the first session of the season
        "age_band": [age_group(age(born, first[s])) for s, (_, born) in zip(students, people, strict=True)],
    }
    rows: list[Row] = []
    for grouping, names in groupings.items():
        for group, kept in found.fit.kept_by(str(row["drill"]), names).items():
            one = {name: row[name] for name in ("season", "drill", "aim")}
            one |= {"grouping": grouping, "group": group, "n_students": kept.students, "n_doses": kept.doses}
            rows.append(one | (_interval("kept", kept.effect) if kept.effect is not None else {}))
    return rows
