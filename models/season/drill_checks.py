"""A plain look at drills beside the season's model: the next session on this one."""

import numpy as np
from scipy import special

from models.season.drill_data import LEAST_FIRST
from models.season.drill_model import LEVEL, Design
from models.season.estimation import clustered
from models.season.kernel import FLOATS


def lagged_effects(design: Design, value: FLOATS) -> dict[str, tuple[float, float, float]]:
    """Drill → its coefficient, with a 90 % interval, in a regression of a session's value on the last one's.

    `value` (N,) toward better. A drill counts when it was set between the two; drills of fewer than three
    students stay out, and nothing is found where the values of fewer than three ever change, as where all but
    one stay inside their band. The cross-check of the season's model, biased a little upward for drills that
    are given on bad days.
    """
    owner, lesson = design.cell.owner, design.doses.lesson
    now = np.flatnonzero(owner[1:] == owner[:-1])
    set_between = (lesson[now + 1] > lesson[now]).astype(np.float64)
    reach = [
        k for k in range(set_between.shape[1])
        if np.unique(owner[now][set_between[:, k] > 0]).size >= LEAST_FIRST
    ]  # fmt: skip
    x = np.column_stack([np.ones(now.size), value[now], set_between[:, reach]])
    moved = np.unique(owner[now][value[now + 1] != value[now]]).size
    if moved < LEAST_FIRST or now.size <= x.shape[1] or np.linalg.matrix_rank(x) < x.shape[1]:
        return {}
    gamma, cov = clustered(x, value[now + 1], owner[now])
    clusters = np.unique(owner[now]).size
    found = {}
    for place, k in enumerate(reach, start=2):
        half = float(special.stdtrit(clusters - 1, LEVEL) * np.sqrt(cov[place, place]))
        found[design.doses.drills[k]] = (float(gamma[place]), gamma[place] - half, gamma[place] + half)
    return found
