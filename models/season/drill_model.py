"""What a drill kept: the mixed model of a whole season's sessions with columns for the drills' doses.

The model is that of mixed.py, y_ij = x_ij·γ + a_i + b_i·t_ij + W_i(t_ij) + e_ij, with `dose_columns` added to
x; a drill's effect is the part of γ'x that its doses add at a student's last session, averaged over the
students given it, in the aim's unit toward better (points of the rate for a fault, fitted in log odds).

Which drill is given depends on what was measured before, and on nothing else that matters here; so the
likelihood of everything measured, in order, needs no model of that choice, and regression to the mean does
not pass for an effect, as it would in a comparison of before with after.

Letters in shapes: N sessions, S students, K drills, p columns, D draws of the variance parts.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from models.season.cells import WORTHWHILE, add_independent, arrange
from models.season.drill_data import FAULT, Aim, Doses, count_doses, dose_columns, keenness_columns, points
from models.season.estimation import jackknife_variance
from models.season.kernel import COUNTS, FLOATS
from models.season.mixed import Cell, integrate, likelihood, lines, posterior_given, scales

DRAWS, KEPT = 450, 96
LEAST_STUDENTS = 5
ENOUGH_STUDENTS, ENOUGH_DOSES = 8, 15
BATCH = 500  # students in one batch of dense algebra
LEVEL = 0.95  # one-sided: 90 % intervals


@dataclass(frozen=True)
class Design:
    """One aim's sessions as a cell, names of its columns, and the doses before each row."""

    aim: Aim
    cell: Cell
    names: list[str]
    doses: Doses
    students: list[str]
    plain: int  # how many of the names, the first ones, have nothing to do with drills

    def doses_of(self, drill: str) -> FLOATS:
        """(S,) lesson doses of one drill before each student's last session."""
        drills = self.doses.drills
        last = self.cell.offsets[1:] - 1
        return self.doses.lesson[last, drills.index(drill)] if drill in drills else np.zeros(last.size)


@dataclass(frozen=True)
class Fit:
    """Effects (p,) and covariance, variance parts integrated out; `without` (S, p): a student left out."""

    gamma: FLOATS
    cov: FLOATS
    without: FLOATS


@dataclass(frozen=True)
class Effect:
    """An estimate, its standard error, interval (90 % unless said) and one-sided p in its own direction."""

    value: float
    se: float
    lo: float
    hi: float
    p: float


def design_of(aim: Aim, dose: pl.DataFrame, aimed: Collection[str]) -> Design | None:
    """The aim's sessions with every drill's columns; None with fewer than five students.

    `aimed`: the drills of this aim, by which keenness is known.
    """
    rows = arrange(aim.rows, aim.swing, None)
    if len(rows.students) < LEAST_STUDENTS:
        return None
    doses = count_doses(aim.rows, dose)
    offsets = rows.cell.offsets
    columns = dose_columns(doses, offsets) | keenness_columns(doses, offsets, rows.cell.t, aimed)
    names, x = add_independent(rows.cell.x, columns)
    cell = replace(rows.cell, x=np.ascontiguousarray(x))
    return Design(aim, cell, ["1", "t", *rows.fixed, *names], doses, rows.students, rows.cell.x.shape[1])


def variance_parts(design: Design) -> FLOATS | None:
    """Draws of the variance parts (D, 5) with every column in; None where nothing varies."""
    by = scales(design.cell)
    posterior = integrate(design.cell, by, DRAWS, KEPT) if by is not None else None
    return None if posterior is None else posterior.parts


def fit_effects(cell: Cell, parts: FLOATS) -> Fit | None:
    """Effects given draws of the variance parts; None when the columns are not identified."""
    log_likelihoods, gammas, covs = likelihood(cell, parts)
    if not np.isfinite(log_likelihoods).all():
        return None
    gamma = gammas.mean(axis=0)
    off = gammas - gamma
    return Fit(gamma, covs.mean(axis=0) + off.T @ off / len(gammas), left_out(cell, _middle(parts)))


def _middle(parts: FLOATS) -> FLOATS:
    """One set of variance parts for the sandwich: root mean squares, and the mean correlation."""
    one = np.sqrt(np.mean(parts**2, axis=0))
    one[2] = parts[:, 2].mean()
    return np.asarray(one)


def left_out(cell: Cell, parts: FLOATS, visit: COUNTS | None = None, lasting: float = 1.0) -> FLOATS:
    """γ̂ (S, p) by generalised least squares, each student left out in turn, under one set of parts (5,)."""
    sums, _ = by_student(cell, parts, visit, lasting)
    information, moment = sums[:, :-1, :-1], sums[:, :-1, -1]
    rest = information.sum(axis=0) - information
    # A column that rests on one student is all zero without them: a tiny ridge keeps its effect at 0.
    size = np.arange(rest.shape[1])
    rest[:, size, size] += 1e-10 * np.diagonal(information.sum(axis=0))
    right = moment.sum(axis=0) - moment
    return np.asarray(np.linalg.solve(rest, right[:, :, None])[:, :, 0])


def fit_of(cell: Cell, parts: FLOATS, visit: COUNTS, lasting: float) -> tuple[float, FLOATS, FLOATS]:
    """Restricted log likelihood up to a constant, γ̂ and its covariance, under one set of parts (5,)."""
    sums, log_sizes = by_student(cell, parts, visit, lasting)
    total = sums.sum(axis=0)
    cov = np.linalg.inv(total[:-1, :-1])
    gamma = cov @ total[:-1, -1]
    left = total[-1, -1] - gamma @ total[:-1, -1]
    return -0.5 * float(log_sizes.sum() - np.linalg.slogdet(cov)[1] + left), gamma, cov


def by_student(cell: Cell, parts: FLOATS, visit: COUNTS | None, lasting: float) -> tuple[FLOATS, FLOATS]:
    """ZᵀV⁻¹Z, Z = (X, y) (S, p + 1, p + 1), and log|V| (S,) of each student.

    Rows of one `visit` (N,) share `lasting` of the variance of a session; None: each row is a visit.
    """
    sd_a, sd_b, rho, sd_e, tau = parts[:5]
    counts, p = np.diff(cell.offsets), cell.x.shape[1]
    sums, log_sizes = np.zeros((counts.size, p + 1, p + 1)), np.zeros(counts.size)
    visit = np.arange(cell.y.size) if visit is None else visit
    for low in range(0, counts.size, BATCH):
        some = slice(low, low + BATCH)
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
            + lasting * sd_e**2 * (visit[at][:, :, None] == visit[at][:, None, :])
        ) * both  # fmt: skip
        size = np.arange(width)
        v[:, size, size] += np.where(here, (1 - lasting) * sd_e**2 + cell.error[at], 1.0)
        z = np.concatenate([cell.x[at], cell.y[at][:, :, None]], axis=2) * here[:, :, None]
        sums[some] = np.swapaxes(z, 1, 2) @ np.linalg.solve(v, z)
        log_sizes[some] = np.linalg.slogdet(v)[1]
    return sums, log_sizes


def effect(found: Fit, weights: FLOATS, given: int, level: float = LEVEL) -> Effect:
    """The contrast Σ weights·γ (p,) with its interval: t with (students given − 2) degrees, at least 1.

    `level` is one-sided. Standard error: the larger of the integrated one and the jackknife's over students.
    """
    value = float(weights @ found.gamma)
    integrated = float(weights @ found.cov @ weights)
    se = max(integrated, jackknife_variance(found.without @ weights)) ** 0.5
    freedom = max(given - 2, 1)
    half = float(special.stdtrit(freedom, level)) * se
    return Effect(value, se, value - half, value + half, float(special.stdtr(freedom, -abs(value) / se)))


@dataclass(frozen=True)
class Kept:
    """What a drill kept: effect (None: not estimated), how many it rests on, smallest worthwhile change."""

    effect: Effect | None
    students: int
    doses: int
    swc: float

    @property
    def enough(self) -> bool:
        """Whether there is enough to judge it by."""
        return self.effect is not None and is_enough(self.students, self.doses)


def is_enough(students: int, doses: int) -> bool:
    """At least 8 students and 15 doses."""
    return students >= ENOUGH_STUDENTS and doses >= ENOUGH_DOSES


def counts(design: Design, drill: str) -> tuple[int, int]:
    """Students given a drill and measured after it, and their doses."""
    doses = design.doses_of(drill)
    return int(np.sum(doses >= 1)), int(doses.sum())


class AimFit:
    """The fit of one aim, and the effects of drills it gives."""

    def __init__(self, design: Design, parts: FLOATS) -> None:
        """`parts`: draws of the variance parts, from `variance_parts`."""
        self.design, self.parts = design, parts
        self.fit = fit_effects(design.cell, parts)
        self.end = self._end() if design.aim.kind == FAULT else None
        # (S,) points of the rate for a unit of log odds at each last session; None for a metric.
        self.points_each = None if self.end is None else np.array([_slope(end, 0.0) for end in self.end])

    def _end(self) -> FLOATS:
        """(S,) each student's line at their last session, for turning log odds into points."""
        cell = self.design.cell
        last = cell.offsets[1:] - 1
        posterior = posterior_given(cell, self.parts)
        mean, _ = lines(cell, posterior, cell.t[last][:, None], cell.x[last][:, None, :])
        return np.asarray(mean[:, :, 0].mean(axis=0))

    @property
    def swc(self) -> float:
        """Smallest worthwhile change: 0.2 of the spread between students, in the aim's unit."""
        if self.points_each is not None:
            return float(WORTHWHILE * self.parts[:, 0].mean() * self.points_each.mean())
        known = self.design.aim.worthwhile
        return float(WORTHWHILE * self.parts[:, 0].mean()) if known is None else known

    def kept(self, drill: str) -> Kept:
        """Mean kept gain over the students given the drill."""
        who = self.design.doses_of(drill) >= 1
        found = self._effect(self.fit, self.design.names, drill, who)
        return Kept(found, *counts(self.design, drill), self.swc)

    def kept_by(self, drill: str, group: Sequence[str | None]) -> dict[str, Kept]:
        """Group → the same within it; `group` (S,) names each student's. No effect is given under 8 students.

        Each group has an effect of the first dose of its own; how it fades is shared.
        """
        doses = self.design.doses_of(drill)
        name = np.array([value or "" for value in group])
        sizes = {g: int(np.sum((name == g) & (doses >= 1))) for g in sorted(set(name) - {""})}
        split = self._split(drill, name) if any(n >= ENOUGH_STUDENTS for n in sizes.values()) else None
        found = {}
        for g, n in sizes.items():
            who = (name == g) & (doses >= 1)
            own = None
            if split is not None and n >= ENOUGH_STUDENTS:
                own = self._effect(split[0], split[1], drill, who, f" of {g}")
            if n > 0:
                found[g] = Kept(own, n, int(doses[who].sum()), self.swc)
        return found

    def _split(self, drill: str, name: NDArray[np.str_]) -> tuple[Fit | None, list[str]]:
        """The fit with a first-dose column for each group, under the same variance parts."""
        cell, names = self.design.cell, self.design.names
        if f"first {drill}" not in names:
            return None, names
        at = names.index(f"first {drill}")
        rest, left = np.delete(cell.x, at, axis=1), [n for n in names if n != names[at]]
        per_row = name[cell.owner]
        cut = {f"first {drill} of {g}": cell.x[:, at] * (per_row == g) for g in sorted(set(name))}
        added, x = add_independent(rest, cut)
        return fit_effects(replace(cell, x=np.ascontiguousarray(x)), self.parts), [*left, *added]

    def _effect(
        self, found: Fit | None, names: list[str], drill: str, who: NDArray[np.bool_], of: str = ""
    ) -> Effect | None:
        """Mean over `who` of what their doses left at their last session, in the aim's unit."""
        first = f"first {drill}{of}"
        if found is None or first not in names or not who.any():
            return None
        left = np.zeros((int(who.sum()), len(names)))
        left[:, names.index(first)] = 1.0
        last, k = self.design.cell.offsets[1:] - 1, self.design.doses.drills.index(drill)
        if f"since {drill}" in names:
            left[:, names.index(f"since {drill}")] = self.design.doses.since[last, k][who]
        if self.end is not None:
            slope = [_slope(end, gain) for end, gain in zip(self.end[who], left @ found.gamma, strict=True)]
            left *= np.array(slope)[:, None]
        return effect(found, left.mean(axis=0), len(left))


def _slope(end: float, gain: float) -> float:
    """Points of the rate fallen for each unit of log odds gained on the way to `end`."""
    if abs(gain) < 1e-6:
        rate = points(np.asarray(end)) / 100
        return float(100 * rate * (1 - rate))
    return float((points(np.asarray(end - gain)) - points(np.asarray(end))) / gain)
