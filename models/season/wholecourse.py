"""The whole-course model of one aim: students' lines, the drills' columns, and what is not known of both.

Which drill is given depends on what was measured before, and on nothing else that matters here; so the
likelihood of everything measured, in order, needs no model of that choice, and regression to the mean does
not pass for an effect. Before against after, or next on now, needs more luck.
"""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy import stats

from models.season.aims import Aim
from models.season.cells import arrange, told_apart
from models.season.doses import Doses, columns, counted
from models.season.kernel import FLOATS
from models.season.mixed import Cell, integrate, likelihood, scales

DRAWS, KEPT = 450, 96
LEAST_STUDENTS = 5
AT_ONCE = 500  # students in one batch of dense algebra
LEVEL = 0.95  # one-sided: 90 % intervals


@dataclass(frozen=True)
class Course:
    """One aim's sessions as a cell, names of its columns, and the doses before each row."""

    aim: Aim
    cell: Cell
    names: list[str]
    doses: Doses
    students: list[str]

    @property
    def given(self) -> FLOATS:
        """(S, K) lesson doses before each student's last session."""
        return self.doses.last(self.cell.offsets)

    def doses_of(self, drill: str) -> FLOATS:
        """(S,) lesson doses of one drill before each student's last session."""
        drills = self.doses.drills
        return self.given[:, drills.index(drill)] if drill in drills else np.zeros(len(self.students))


@dataclass(frozen=True)
class Fit:
    """Effects (p,) with their covariance, variance parts integrated over; `without` (S, p): one left out."""

    gamma: FLOATS
    cov: FLOATS
    without: FLOATS


@dataclass(frozen=True)
class Effect:
    """An estimate, its standard error, 90 % interval and one-sided p in its own direction."""

    value: float
    se: float
    lo: float
    hi: float
    p: float


def course_of(aim: Aim, dose: pl.DataFrame) -> Course | None:
    """The aim's sessions with every drill's columns; None with fewer than five students."""
    rows = arrange(aim.rows, aim.swing, None)
    if len(rows.students) < LEAST_STUDENTS:
        return None
    doses = counted(aim.rows, dose)
    names, x = told_apart(rows.cell.x, columns(doses, rows.cell.offsets))
    cell = replace(rows.cell, x=np.ascontiguousarray(x))
    return Course(aim, cell, ["1", "t", *rows.fixed, *names], doses, rows.students)


def variance_parts(course: Course) -> FLOATS | None:
    """Draws of the variance parts (D, 5) with every column in; None where nothing varies."""
    by = scales(course.cell)
    posterior = integrate(course.cell, by, DRAWS, KEPT) if by is not None else None
    return None if posterior is None else posterior.parts


def fit(cell: Cell, parts: FLOATS) -> Fit | None:
    """Effects given draws of the variance parts; None when the columns can't be told apart."""
    heights, gammas, covs = likelihood(cell, parts)
    if not np.isfinite(heights).all():
        return None
    gamma = gammas.mean(axis=0)
    off = gammas - gamma
    return Fit(gamma, covs.mean(axis=0) + off.T @ off / len(gammas), left_out(cell, _middle(parts)))


def _middle(parts: FLOATS) -> FLOATS:
    """One set of variance parts for the sandwich: root mean squares, and the mean correlation."""
    one = np.sqrt(np.mean(parts**2, axis=0))
    one[2] = parts[:, 2].mean()
    return np.asarray(one)


def left_out(cell: Cell, parts: FLOATS) -> FLOATS:
    """γ̂ (S, p) by generalised least squares, each student left out in turn, under one set of parts (5,)."""
    information, moment = _by_student(cell, parts)
    rest = information.sum(axis=0) - information
    # A column that one student alone tells of is all zero without them: a speck keeps it at 0.
    size = np.arange(rest.shape[1])
    rest[:, size, size] += 1e-10 * np.diagonal(information.sum(axis=0))
    right = moment.sum(axis=0) - moment
    return np.asarray(np.linalg.solve(rest, right[:, :, None])[:, :, 0])


def _by_student(cell: Cell, parts: FLOATS) -> tuple[FLOATS, FLOATS]:
    """XᵀV⁻¹X (S, p, p) and XᵀV⁻¹y (S, p) of each student."""
    sd_a, sd_b, rho, sd_e, tau = parts
    counts, p = np.diff(cell.offsets), cell.x.shape[1]
    information, moment = np.zeros((counts.size, p, p)), np.zeros((counts.size, p))
    for low in range(0, counts.size, AT_ONCE):
        some = slice(low, low + AT_ONCE)
        width = int(counts[some].max())
        at = cell.offsets[:-1][some, None] + np.arange(width)
        here = np.arange(width) < counts[some, None]
        at = np.where(here, at, cell.offsets[:-1][some, None])
        t = cell.t[at]
        both = here[:, :, None] & here[:, None, :]
        walked = np.minimum(t[:, :, None], t[:, None, :]) - t[:, :1, None]
        v = (
            sd_a**2 + rho * sd_a * sd_b * (t[:, :, None] + t[:, None, :])
            + sd_b**2 * t[:, :, None] * t[:, None, :] + tau**2 * walked
        ) * both  # fmt: skip
        size = np.arange(width)
        v[:, size, size] += np.where(here, sd_e**2 + cell.error[at], 1.0)
        z = np.concatenate([cell.x[at], cell.y[at][:, :, None]], axis=2) * here[:, :, None]
        solved = np.linalg.solve(v, z)
        information[some] = np.swapaxes(z[:, :, :p], 1, 2) @ solved[:, :, :p]
        moment[some] = (np.swapaxes(z[:, :, :p], 1, 2) @ solved[:, :, p:])[:, :, 0]
    return information, moment


def effect(found: Fit, weights: FLOATS, given: int) -> Effect:
    """The contrast Σ weights·γ (p,) with its interval: t with (students given − 2) degrees, at least 1.

    Standard error: the larger of the integrated one and √((S − 1)/S · Σ(γ̂ without i − their mean)²).
    """
    value = float(weights @ found.gamma)
    own = found.without @ weights
    students = own.size
    sandwich = (students - 1) / students * np.sum((own - own.mean()) ** 2)
    se = float(np.sqrt(max(weights @ found.cov @ weights, sandwich)))
    freedom = max(given - 2, 1)
    half = float(stats.t.ppf(LEVEL, freedom)) * se
    return Effect(value, se, value - half, value + half, float(stats.t.sf(abs(value) / se, freedom)))
