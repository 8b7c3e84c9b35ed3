"""What a drill changed on the day: the swings after it, beside the whole course of what was measured before.

One Gaussian likelihood holds every baseline session and what a session's first drill was followed by:

    y = x·γ + a_i + b_i·t + W_i(t) + visit + own + swings,

the student's line as in drill_model.py, `visit` ~ N(0, φσ²) what a day's form keeps from before the drill to
after it, `own` ~ N(0, (1 − φ)σ²) what it does not. Drills are given on bad days; since that choice depends on
what was measured before, the likelihood of all of it needs no model of the choice, and a bad day that passes
anyway is no effect. φ is not known, nor are the variance parts: both are integrated over.

What is gained on the day is known to overstate what is kept, and at times to reverse it (Soderstrom & Bjork
2015, Perspect Psychol Sci 10), so both are shown side by side.
"""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy import special

from models.season.cells import add_independent
from models.season.drill_data import Aim
from models.season.drill_model import AimFit, Design, Effect, Fit, effect, fit_of, left_out
from models.season.kernel import COUNTS, FLOATS
from models.season.mixed import Cell

LEAST_COMPARED = 8  # sessions measured again with no drill, for a change to be called an effect
LEAST_STUDENTS = 12  # under a dozen the estimate leans against the drill
EFFECT, CHANGE = "effect", "change"
DRAWS = 6
LASTING = np.array([0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0])  # φ


@dataclass(frozen=True)
class SameDay:
    """Change on the day toward better; None under a dozen students.

    `kind`: effect (against sessions measured again with no drill) or change on the day.
    """

    effect: Effect | None
    kind: str
    sessions: int
    compared: int


def followed(every: Aim, first_drill: pl.DataFrame) -> pl.DataFrame:
    """Rows of `every` part measured after a session's first drill, or again with none (`drill` null).

    `first_drill`: session and the drill of its first swings after one; null where it was measured with none.
    """
    after = every.rows.filter(part="after_drill", club_family=every.family)
    return after.join(
        first_drill, on=["session", "drill"], nulls_equal=True, how="semi", maintain_order="left"
    )


def same_day(design: Design, after: pl.DataFrame, fit: AimFit | None) -> dict[str, SameDay]:
    """Drill → what a session's first drill changed on the day.

    `after`: the rows of `followed`, valued as the design's; those of sessions without a baseline of the same
    device and heel source stay out. `fit`: that of the design; None: no effect is given.
    """
    keys = ["student", "session", "device", "heel_source"]
    before = design.aim.rows.select(keys).with_row_index("visit")
    again = after.join(before, on=keys).sort("visit", "drill", nulls_last=True)
    compared = again.filter(pl.col("drill").is_null())["session"].n_unique()
    kind = EFFECT if compared >= LEAST_COMPARED else CHANGE
    drilled = again.drop_nulls("drill").group_by("drill", maintain_order=True)
    sessions = {str(drill): own["session"].n_unique() for (drill,), own in drilled}
    students = {str(drill): own["student"].n_unique() for (drill,), own in drilled}
    enough = [drill for drill in sorted(students) if students[drill] >= LEAST_STUDENTS]
    found: dict[str, Effect] = {}
    if enough and fit is not None:
        found = _effects(fit, again, enough, apart=kind == EFFECT)
    return {drill: SameDay(found.get(drill), kind, sessions[drill], compared) for drill in sorted(sessions)}


def _effects(fit: AimFit, again: pl.DataFrame, drills: list[str], *, apart: bool) -> dict[str, Effect]:
    """Drill → its effect; `apart`: with a column for being measured again."""
    design = fit.design
    cell, plain = design.cell, design.plain
    visit = again["visit"].to_numpy().astype(np.intp)
    place = np.concatenate([np.arange(cell.y.size), visit])
    order = np.argsort(place, kind="stable")  # each after its own baseline
    place, later = place[order], (np.arange(place.size) >= cell.y.size)[order]
    error = design.aim.swing / again["n"].to_numpy().astype(np.float64)
    y = np.concatenate([cell.y, again["mean"].to_numpy()])[order]
    own = np.concatenate([np.full(cell.y.size, None), again["drill"].fill_null("").to_numpy()])[order]
    columns = {name: cell.x[place, k] for k, name in enumerate(design.names) if name.startswith("first ")}
    columns |= {"measured again": later.astype(np.float64)} if apart else {}
    columns |= {drill: (own == drill).astype(np.float64) for drill in drills}
    others = sorted({*own} - {None, "", *drills})  # in one order, so that every run has the same columns
    columns |= {f"other {drill}": (own == drill).astype(np.float64) for drill in others}
    names, x = add_independent(cell.x[place, :plain], columns)
    counts = np.bincount(cell.owner[place])
    both = replace(
        cell, offsets=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64), t=cell.t[place], y=y,
        error=np.concatenate([cell.error, error])[order], x=np.ascontiguousarray(x),
    )  # fmt: skip
    found = _mixed(both, place, fit.parts)
    effects = {}
    for drill in (drill for drill in drills if drill in names):
        given = np.unique(both.owner[own == drill])
        weights = np.zeros(x.shape[1])
        weights[plain + names.index(drill)] = 1.0
        if fit.points_each is not None:
            weights *= fit.points_each[given].mean()
        effects[drill] = effect(found, weights, given.size)
    return effects


def _mixed(cell: Cell, visit: COUNTS, parts: FLOATS) -> Fit:
    """Effects mixed over draws of the variance parts and φ by restricted likelihood."""
    some = parts[np.linspace(0, len(parts) - 1, min(DRAWS, len(parts))).astype(int)]
    fits = [fit_of(cell, row, visit, lasting) for row in some for lasting in LASTING]
    heights = np.array([height for height, _, _ in fits])
    weight = special.softmax(heights)
    gammas, covs = np.stack([gamma for _, gamma, _ in fits]), np.stack([cov for _, _, cov in fits])
    gamma = weight @ gammas
    off = gammas - gamma
    cov = np.einsum("d,dij->ij", weight, covs) + (off * weight[:, None]).T @ off
    best = int(np.argmax(heights))
    left = left_out(cell, some[best // LASTING.size], visit, float(LASTING[best % LASTING.size]))
    return Fit(gamma, cov, left)
