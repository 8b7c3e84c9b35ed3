"""Rows of the bench for the season's fit."""

from pathlib import Path

import numpy as np
import pandas as pd
import statsmodels.api as sm

from bench.table import Row, paired
from models.season.mixed import Cell, integrate, scales
from reml import fit_reml


def season(students: int, visits: int = 8, seed: int = 7) -> Cell:
    """A made-up metric of one season: random starts and slopes, no wandering, no swing error of its own."""
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 6, (students, visits)), axis=1)
    t -= t[:, :1]
    start, slope = rng.normal(70, 6, (students, 1)), rng.normal(0.5, 0.8, (students, 1))
    y = start + slope * t + rng.normal(0, 3, t.shape)
    x = np.stack([np.ones(t.size), t.ravel()], axis=1)
    return Cell(np.arange(students + 1) * visits, t.ravel(), y.ravel(), np.zeros(t.size), x)


def against_mixedlm(_: Path, students: int = 1000, repeats: int = 3) -> Row:
    """The same restricted likelihood against statsmodels MixedLM, one metric; same estimates to 1e-3.

    Both go linearly with students and metrics, so 10,000 × 35 is this ratio again.
    """
    cell = season(students)
    frame = pd.DataFrame({"y": cell.y, "t": cell.t, "student": cell.owner})
    model = sm.MixedLM.from_formula("y ~ t", frame, groups="student", re_formula="~t")
    ours, theirs = fit_reml(cell), model.fit(reml=True, method="lbfgs")
    np.testing.assert_allclose(ours.gamma, theirs.fe_params, rtol=1e-3)
    np.testing.assert_allclose(ours.parts[:2], np.sqrt(np.diag(theirs.cov_re)), rtol=1e-3)
    np.testing.assert_allclose(ours.parts[3], np.sqrt(theirs.scale), rtol=1e-3)
    pairs = paired(lambda: fit_reml(cell), lambda: model.fit(reml=True, method="lbfgs"), repeats)
    what, ratio = f"(e) MixedLM / our restricted likelihood, {students:,} students", 1 / pairs.ours_by_base
    return Row(
        what, 1e3 * pairs.ours, 1e3 * pairs.base, "ms", ratio, "≥ 50 ×", ratio >= 50, more_is_better=True
    )


def whole_fit_against_mixedlm(_: Path, students: int = 1000, repeats: int = 3) -> Row:
    """The season's own fit, variance parts integrated over and wandering in it, against MixedLM's plain one."""
    cell = season(students)
    by = scales(cell)
    if by is None:
        raise ValueError("nothing varies")
    frame = pd.DataFrame({"y": cell.y, "t": cell.t, "student": cell.owner})
    model = sm.MixedLM.from_formula("y ~ t", frame, groups="student", re_formula="~t")
    pairs = paired(lambda: integrate(cell, by), lambda: model.fit(reml=True, method="lbfgs"), repeats)
    what, ratio = f"(f) MixedLM / the season's fit, {students:,} students", 1 / pairs.ours_by_base
    return Row(
        what, 1e3 * pairs.ours, 1e3 * pairs.base, "ms", ratio, "≥ 50 ×", ratio >= 50, more_is_better=True
    )
