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
from scipy import special

from models.season.cells import add_independent
from models.season.drill_model import Design, Effect, effect, fit
from models.season.estimation import spending_bounds
from models.season.kernel import COUNTS, FLOATS
from warehouse.vocabulary import DRAW_LOOKS, DRAW_STUDENTS

MEASURED = 2  # sessions since the draw before a student counts
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


def drawn(
    design: Design, draws: pl.DataFrame, parts: FLOATS | None, points: FLOATS | None = None
) -> dict[str, Drawn]:
    """Drill → itself against the drill it was drawn against most often.

    `draws`: rows of season.random_draw. `parts`: draws of the design's variance parts; None: nothing is said.
    `points` (S,): what a unit of value is worth to each student in the aim's unit; None where it is the unit.
    """
    pair = pl.concat_list("drill", "drawn_against").list.sort()
    firsts = (
        draws.with_columns(pair=pair)
        .sort("at")
        .unique(["student", "pair"], keep="first", maintain_order=True)
    )
    found: dict[str, Drawn] = {}
    for (key,), own in firsts.group_by(["pair"], maintain_order=True):
        one, other = key
        answer = _question(design, own, one, parts, points)
        turned = None if answer[2] is None else _turned(answer[2])
        for drill, against, said in ((one, other, answer[2]), (other, one, turned)):
            if drill not in found or found[drill].students < answer[0]:
                found[drill] = Drawn(against, answer[0], answer[1], said)
    return found


def _turned(found: Effect) -> Effect:
    return Effect(-found.value, found.se, -found.hi, -found.lo, found.p)


def _question(
    design: Design, own: pl.DataFrame, one: str, parts: FLOATS | None, points: FLOATS | None
) -> tuple[int, int, Effect | None]:
    """Students who count, looks taken, and `one` less the other at the last of them."""
    when = {student: (at, day, drill == one) for student, at, day, drill in own[:, :4].iter_rows()}
    rows = design.aim.rows.select("student", "started_at", "day")
    after, arm = np.zeros(len(rows), dtype=bool), np.zeros(len(rows))
    for k, (student, started, day) in enumerate(rows.iter_rows()):
        if student in when:
            at, on, won = when[student]
            after[k], arm[k] = day > on or started > at, 0.5 if won else -0.5
    since = rows.with_columns(after=after).filter("after").sort("started_at")
    ready = since.group_by("student").agg(
        day=pl.col("day").unique().sort().get(MEASURED - 1, null_on_oob=True)
    )
    days = ready["day"].drop_nulls().sort().to_list()
    answer, looks = None, 0
    for look, until in _looks(days):
        looks = look
        if parts is not None:
            answer = _look(design, (rows["day"] <= until).to_numpy(), after, arm, parts, points, look)
        if answer is not None and (answer.lo > 0 or answer.hi < 0):
            break
    return len(days), looks, answer


def _looks(days: list[date]) -> Iterator[tuple[int, date]]:
    """Number and day of each look that was due, from the days on which students came to count."""
    for look, share in enumerate(DRAW_LOOKS, start=1):
        if len(days) >= (needed := ceil(share * DRAW_STUDENTS)):
            yield look, days[needed - 1]


def _look(
    design: Design, known: COUNTS, after: COUNTS, arm: FLOATS, parts: FLOATS, points: FLOATS | None, look: int
) -> Effect | None:
    """The answer from the rows `known` by then."""
    cell = design.cell
    plain = len(design.names) - len(design.dosed)
    there = np.unique(cell.owner[known])
    counts = np.bincount(cell.owner[known], minlength=cell.offsets.size - 1)[there]
    columns = {"after": after[known].astype(float), "drawn": (after * arm)[known]}
    names, x = add_independent(cell.x[known][:, :plain], columns)
    some = replace(
        cell, offsets=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64), t=cell.t[known],
        y=cell.y[known], error=cell.error[known], x=np.ascontiguousarray(x),
    )  # fmt: skip
    arms = [np.unique(cell.owner[known & after & (arm == side)]) for side in (0.5, -0.5)]
    found = fit(some, parts) if min(arm.size for arm in arms) >= LEAST_ARM and "drawn" in names else None
    if found is None:
        return None
    weights = np.zeros(x.shape[1])
    weights[-1] = 1.0 if points is None else points[np.concatenate(arms)].mean()
    level = float(special.ndtr(spending_bounds(DRAW_LOOKS)[look - 1]))
    return effect(found, weights, sum(each.size for each in arms), level)
