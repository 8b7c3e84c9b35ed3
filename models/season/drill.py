"""What each drill is worth: kept, on the day, by lots, pooled by aim, and for whom.

The kept effect is that of the whole-course model (wholecourse.py), averaged over the students given the drill
at the season's end. Every effect is toward better.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.season.aims import FAULT, points
from models.season.cells import told_apart
from models.season.judgement import WORTHWHILE
from models.season.kernel import FLOATS, lines
from models.season.mixed import likelihood
from models.season.pooling import drawn_together, false_discovery
from models.season.wholecourse import Course, Effect, Fit, effect, fit
from warehouse.vocabulary import HARMS, HELPS, NO_CLEAR_EFFECT, TOO_LITTLE_DATA

LEAST_STUDENTS, LEAST_DOSES = 8, 15
SURE, MOST_FALSE = 0.05, 0.10
Z90 = 1.6448536269514722


@dataclass(frozen=True)
class Kept:
    """What one drill kept of one aim: the effect (None where it can't be told), for how many, and its SWC."""

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
    return students >= LEAST_STUDENTS and doses >= LEAST_DOSES


def counts(course: Course, drill: str) -> tuple[int, int]:
    """Students given a drill and measured after it, and their doses."""
    doses = course.doses_of(drill)
    return int(np.sum(doses >= 1)), int(doses.sum())


class Answers:
    """One aim's fitted course, and what may be asked of it."""

    def __init__(self, course: Course, parts: FLOATS) -> None:
        """`parts`: draws of the variance parts, from `wholecourse.variance_parts`."""
        self.course, self.parts = course, parts
        self.fit = fit(course.cell, parts)
        self.end = self._end() if course.aim.kind == FAULT else None

    def _end(self) -> FLOATS:
        """(S,) each student's line at their last session, for turning log odds into points."""
        cell = self.course.cell
        _, gammas, covs = likelihood(cell, self.parts)
        last = cell.offsets[1:] - 1
        mean, _, _ = lines(
            self.parts, gammas, covs, cell.offsets, cell.t, cell.y, cell.error, cell.x,
            np.ascontiguousarray(cell.t[last][:, None]), np.ascontiguousarray(cell.x[last][:, None, :]),
        )  # fmt: skip
        return np.asarray(mean[:, :, 0].mean(axis=0))

    @property
    def swc(self) -> float:
        """Smallest worthwhile change: 0.2 of the spread between students, in the aim's unit."""
        if self.end is not None:
            slope = np.mean([_slope(end, 0.0) for end in self.end])
            return float(WORTHWHILE * self.parts[:, 0].mean() * slope)
        spread = self.course.aim.sd_student
        return float(WORTHWHILE * (self.parts[:, 0].mean() if spread is None else spread))

    def kept(self, drill: str) -> Kept:
        """Mean kept gain over the students given the drill."""
        who = self.course.doses_of(drill) >= 1
        found = self._effect(self.fit, self.course.names, drill, who)
        return Kept(found, *counts(self.course, drill), self.swc)

    def kept_by(self, drill: str, group: Sequence[str | None]) -> dict[str, Kept]:
        """Group → the same within it. `group` (S,) names each student's; each has a first dose of its own.

        What later doses add and what fades is shared. No effect is given under 8 students.
        """
        doses = self.course.doses_of(drill)
        name = np.array([value or "" for value in group])
        sizes = {g: int(np.sum((name == g) & (doses >= 1))) for g in sorted(set(name) - {""})}
        split = self._split(drill, name) if any(n >= LEAST_STUDENTS for n in sizes.values()) else None
        found = {}
        for g, n in sizes.items():
            who = (name == g) & (doses >= 1)
            own = None
            if split is not None and n >= LEAST_STUDENTS:
                own = self._effect(split[0], split[1], drill, who, f" of {g}")
            if n > 0:
                found[g] = Kept(own, n, int(doses[who].sum()), self.swc)
        return found

    def _split(self, drill: str, name: NDArray[np.str_]) -> tuple[Fit | None, list[str]]:
        """The fit with the first dose's column cut in one for each group, under the same variance parts."""
        cell, names = self.course.cell, self.course.names
        if f"first {drill}" not in names:
            return None, names
        at = names.index(f"first {drill}")
        rest, left = np.delete(cell.x, at, axis=1), [n for n in names if n != names[at]]
        per_row = name[cell.owner]
        cut = {f"first {drill} of {g}": cell.x[:, at] * (per_row == g) for g in sorted(set(name))}
        added, x = told_apart(rest, cut)
        return fit(replace(cell, x=np.ascontiguousarray(x)), self.parts), [*left, *added]

    def _effect(
        self, found: Fit | None, names: list[str], drill: str, who: NDArray[np.bool_], of: str = ""
    ) -> Effect | None:
        """Mean over `who` of what their doses left at their last session, in the aim's unit."""
        first = f"first {drill}{of}"
        if found is None or first not in names or not who.any():
            return None
        left = np.zeros((int(who.sum()), len(names)))
        left[:, names.index(first)] = 1.0
        last, k = self.course.cell.offsets[1:] - 1, self.course.doses.drills.index(drill)
        for kind, column in (
            ("more", self.course.doses_of(drill) - 1),
            ("since", self.course.doses.since[last, k]),
        ):
            if f"{kind} {drill}" in names:
                left[:, names.index(f"{kind} {drill}")] = column[who]
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


def pooled(kept: Mapping[str, Kept]) -> dict[str, tuple[float, float, float]]:
    """Drill → its kept effect drawn toward the mean of the drills with the same aim, 90 % interval.

    Nothing with fewer than two drills to pool.
    """
    usable = {drill: k.effect for drill, k in kept.items() if k.effect is not None and k.enough}
    if len(usable) < 2:
        return {}
    value = np.array([found.value for found in usable.values()])
    se = np.array([(found.hi - found.lo) / (2 * Z90) for found in usable.values()])
    near, error = drawn_together(value, se)
    return {
        drill: (float(m), float(m - Z90 * s), float(m + Z90 * s))
        for drill, m, s in zip(usable, near, error, strict=True)
    }
