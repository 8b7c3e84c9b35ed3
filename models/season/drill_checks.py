"""Two plain looks at a drill beside the season's model: the same day, and the next session on this one.

What is gained on the day is known to overstate what is kept, and at times to reverse it (Soderstrom & Bjork
2015, Perspect Psychol Sci 10), so both are shown side by side.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from models.season.drill_data import LEAST_FIRST
from models.season.drill_model import LEVEL, Design
from models.season.kernel import FLOATS

LEAST_COMPARED, LEAST_STUDENTS = 8, 5
EFFECT, CHANGE = "effect", "change"


@dataclass(frozen=True)
class SameDay:
    """Change from baseline to after the drill, toward better, with its 90 % interval; NaN under 5 students.

    `kind`: effect (against sessions re-measured with no drill) or change on the day.
    """

    value: float
    lo: float
    hi: float
    kind: str
    sessions: int
    compared: int


def same_day(parts: pl.DataFrame, first_drill: pl.DataFrame) -> dict[str, SameDay]:
    """Drill → what a session's first drill changed on the day.

    `parts`: student, session, part, drill, device, heel_source and value, of one aim and club family at full
    pace. `first_drill`: session and the drill of its first swings after one; null where it was measured again
    with none. Standard errors are clustered by student, intervals t.
    """
    keys = ["student", "session", "device", "heel_source"]
    before = parts.filter(pl.col("part") == "baseline").group_by(keys).agg(before=pl.col("value").mean())
    change = (
        parts.filter(pl.col("part") == "after_drill")
        .join(first_drill, on=["session", "drill"], nulls_equal=True)
        .join(before, on=keys)
        .sort(keys)
        .group_by("student", "session", "drill", maintain_order=True)
        .agg(change=(pl.col("value") - pl.col("before")).mean())
    )
    without = change.filter(pl.col("drill").is_null())
    drills = change["drill"].drop_nulls().unique(maintain_order=True)
    return {drill: _compared(change.filter(pl.col("drill") == drill), without) for drill in drills}


def _compared(after: pl.DataFrame, without: pl.DataFrame) -> SameDay:
    effect = len(without) >= LEAST_COMPARED
    rows = pl.concat([after, without]) if effect else after
    own = rows["drill"].is_not_null().cast(pl.Float64).to_numpy()
    x = np.stack([own, 1 - own], axis=1) if effect else own[:, None]
    students = rows["student"].rank("dense").to_numpy().astype(np.intp) - 1
    kind = EFFECT if effect else CHANGE
    if after["student"].n_unique() < LEAST_STUDENTS:
        return SameDay(np.nan, np.nan, np.nan, kind, len(after), len(without))
    gamma, cov = clustered(x, rows["change"].to_numpy(), students)
    weights = np.array([1.0, -1.0]) if effect else np.array([1.0])
    value, half = float(weights @ gamma), _half(float(weights @ cov @ weights), after["student"].n_unique())
    return SameDay(value, value - half, value + half, kind, len(after), len(without))


def _half(variance: float, clusters: int) -> float:
    """Half of a 90 % interval with (clusters − 1) degrees."""
    return float(stats.t.ppf(LEVEL, clusters - 1) * np.sqrt(variance))


def clustered(x: FLOATS, y: FLOATS, owner: NDArray[np.intp]) -> tuple[FLOATS, FLOATS]:
    """Least squares (p,) and its covariance, errors correlated within an owner; x (N, p), y (N,), owner (N,).

    (XᵀX)⁻¹·Σ_g XᵍᵀuᵍuᵍᵀXᵍ·(XᵀX)⁻¹ with the correction G/(G − 1) · (N − 1)/(N − p). Source: Liang & Zeger
    1986; the correction as in Petersen 2009, Rev Financ Stud 22.
    """
    n, p = x.shape
    bread = np.linalg.inv(x.T @ x)
    gamma = bread @ (x.T @ y)
    scores = np.zeros((int(owner.max()) + 1, p))
    np.add.at(scores, owner, x * (y - x @ gamma)[:, None])
    groups = np.unique(owner).size
    scale = groups / max(groups - 1, 1) * (n - 1) / max(n - p, 1)
    return gamma, scale * bread @ (scores.T @ scores) @ bread


def lagged_effects(design: Design, value: FLOATS) -> dict[str, tuple[float, float, float]]:
    """Drill → its coefficient, with a 90 % interval, in a regression of a session's value on the last one's.

    `value` (N,) toward better. A drill counts when it was set between the two; drills of fewer than three
    students stay out. The cross-check of the season's model, biased a little upward for drills that are
    given on bad days.
    """
    owner, lesson = design.cell.owner, design.doses.lesson
    now = np.flatnonzero(owner[1:] == owner[:-1])
    set_between = (lesson[now + 1] > lesson[now]).astype(np.float64)
    reach = [
        k for k in range(set_between.shape[1])
        if np.unique(owner[now][set_between[:, k] > 0]).size >= LEAST_FIRST
    ]  # fmt: skip
    x = np.column_stack([np.ones(now.size), value[now], set_between[:, reach]])
    if now.size <= x.shape[1] or np.linalg.matrix_rank(x) < x.shape[1]:
        return {}
    gamma, cov = clustered(x, value[now + 1], owner[now])
    clusters = np.unique(owner[now]).size
    found = {}
    for place, k in enumerate(reach, start=2):
        half = _half(float(cov[place, place]), clusters)
        found[design.doses.drills[k]] = (float(gamma[place]), gamma[place] - half, gamma[place] + half)
    return found
