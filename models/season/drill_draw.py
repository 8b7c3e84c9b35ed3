"""Two drills that a random draw decided between, set against each other.

Of each student the first draw between the two counts, as drawn, whatever was practised afterwards. In the
model of drill_model.py, without what doses do, two columns are added: after the draw, which takes in that a
question is asked on a bad day and among the keen, and after the draw ± ½ by the drill drawn: the answer.

The answer is looked at three times, when a half, three quarters and all of the planned students have been
measured twice since their draw. The three share one error of 5 % (`spending_bounds`); between looks the last
one stands, and the first that settles the question stays.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from math import ceil

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from models.season.cells import add_independent
from models.season.drill_model import AimFit, Design, Effect, effect, fit_effects
from models.season.estimation import spending_bounds
from models.season.kernel import FLOATS
from warehouse.vocabulary import DRAW_LOOKS, DRAW_STUDENTS

MEASURED = 2  # days with a session since the draw before a student counts
LEAST_ARM = 4  # students of either drill


@dataclass(frozen=True)
class Drawn:
    """One drill against the other: students who count by now, looks taken, and the answer (None: not yet).

    The interval of the answer is the one that three looks share, 95 % over all.
    """

    against: str
    students: int
    looks: int
    effect: Effect | None


def drawn(design: Design, draws: pl.DataFrame, fit: AimFit | None) -> dict[str, Drawn]:
    """Drill → itself against the drill it was drawn against most often.

    `draws`: rows of season.random_draw, the earliest first. `fit`: that of the design; None: no answer is
    given.
    """
    pair = pl.concat_list("drill", "drawn_against").list.sort()
    firsts = draws.with_columns(pair=pair).unique(["student", "pair"], keep="first", maintain_order=True)
    found: dict[str, Drawn] = {}
    for (key,), own in firsts.group_by(["pair"], maintain_order=True):
        one, other = key
        students, looks, answer = _question(design, own, one, fit)
        turned = answer and Effect(-answer.value, answer.se, -answer.hi, -answer.lo, answer.p)
        for drill, against, said in ((one, other, answer), (other, one, turned)):
            if drill not in found or found[drill].students < students:
                found[drill] = Drawn(against, students, looks, said)
    return found


def _question(
    design: Design, own: pl.DataFrame, one: str, fit: AimFit | None
) -> tuple[int, int, Effect | None]:
    """Students who count, looks taken, and `one` less the other at the last of them."""
    lot = own.select("student", "at", on="day", arm=pl.when(drill=one).then(0.5).otherwise(-0.5))
    rows = (
        design.aim.rows.select("student", "started_at", "day")
        .join(lot, on="student", how="left", maintain_order="left")
        .with_columns(after=((pl.col("day") > pl.col("on")) | (pl.col("started_at") > pl.col("at"))))
        .with_columns(pl.col("after").fill_null(value=False), arm=pl.when("after").then("arm").otherwise(0.0))
    )
    measured = pl.col("day").unique().sort().get(MEASURED - 1, null_on_oob=True)
    days = rows.filter("after").group_by("student").agg(measured)["day"].drop_nulls().sort().to_list()
    answer, looks = None, 0
    for look, until in _looks(days):
        looks = look
        if fit is not None:
            answer = _look(fit, (rows["day"] <= until).to_numpy(), rows["arm"].to_numpy(), look)
        if answer is not None and (answer.lo > 0 or answer.hi < 0):
            break
    return len(days), looks, answer


def _looks(days: list[date]) -> Iterator[tuple[int, date]]:
    """Number and day of each look that was due, from the days on which students came to count."""
    for look, share in enumerate(DRAW_LOOKS, start=1):
        if len(days) >= (needed := ceil(share * DRAW_STUDENTS)):
            yield look, days[needed - 1]


def _look(fit: AimFit, known: NDArray[np.bool_], arm: FLOATS, look: int) -> Effect | None:
    """The answer from the rows `known` by then; `arm` (N,): ½ or −½ since the draw, else 0."""
    design, cell = fit.design, fit.design.cell
    # A device that came later has no rows yet: every column is asked anew whether it says something.
    columns = {name: cell.x[known, k] for k, name in enumerate(design.names[: design.plain]) if k > 1}
    columns |= {"after": (arm[known] != 0).astype(np.float64), "drawn": arm[known]}
    names, x = add_independent(cell.x[known][:, :2], columns)
    arms = [np.unique(cell.owner[known & (arm == side)]) for side in (0.5, -0.5)]
    if min(each.size for each in arms) < LEAST_ARM or "drawn" not in names:
        return None
    found = fit_effects(replace(cell.only(known), x=np.ascontiguousarray(x)), fit.parts)
    if found is None:
        return None
    weights = np.zeros(x.shape[1])
    weights[-1] = 1.0 if fit.points_each is None else fit.points_each[np.concatenate(arms)].mean()
    level = float(special.ndtr(spending_bounds(DRAW_LOOKS)[look - 1]))
    return effect(found, weights, sum(each.size for each in arms), level)
