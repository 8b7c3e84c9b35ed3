"""Whose a recording is likely to be: an academy's students, the likeliest first.

By the standing load in it, by how far from the heel the pressure goes, and by who had a lesson then. A
student of whom something is not known is judged by how usual what is shown is. How far a known mass or foot
may differ, and what a lesson counts for: common practice, no source.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from math import hypot
from statistics import NormalDist
from typing import NamedTuple

from warehouse.store import Writer

MASS_KG, MASS_SHARE = 1.5, 0.03  # standard deviations: clothes and the plate, and since it was last known
USUAL_MASS_KG = (68.0, 20.0)  # mean and standard deviation of golfers
OUTLIER, STRANGER_ODDS = 0.02, 0.5
FITS_WITHIN = 2.5  # standard deviations
FARTHEST, FARTHEST_SD = 0.8, 0.1  # of the foot's length that the pressure goes from the heel in a swing
USUAL_FARTHEST_MM = (208.0, 33.0)  # the same of feet of 260 mm, with a standard deviation of 20
LESSON_ODDS = 20.0  # of whoever has a lesson at the time, to whoever has none
_KNOWN = """
    SELECT p.person, arg_max(s.body_mass_kg, s.started_at), any_value(p.foot_length_mm) FROM academy.person p
    LEFT JOIN academy.session s ON s.student = p.person AND s.body_mass_kg IS NOT NULL AND s.day <= ?
    WHERE p.role = 'student' AND p.joined <= ? AND (p."left" IS NULL OR p."left" >= ?) GROUP BY p.person
"""


@dataclass(frozen=True)
class Owner:
    """A likely owner: `chance` of 0 to 1 among all students and a stranger, and which evidence fits."""

    person: str
    chance: float
    because: tuple[str, ...]


@dataclass(frozen=True)
class Known:
    """What is known of a student: body mass, foot length, and whether they had a lesson at the time."""

    mass_kg: float | None = None
    foot_mm: float | None = None
    has_lesson: bool = False


@dataclass(frozen=True)
class Shown:
    """What a recording shows: the standing load over g, and how far from the heel the pressure goes."""

    mass_kg: float | None = None
    farthest_mm: float | None = None


def known_students(writer: Writer, day: date, coming: Collection[str] = ()) -> dict[str, Known]:
    """The students of a day, each with the last body mass known by then; `coming`: who had a lesson."""
    rows = writer.sql(_KNOWN, [day, day, day]).iter_rows()
    return {student: Known(mass, foot, student in coming) for student, mass, foot in rows}


def likely_owners(students: Mapping[str, Known], shown: Shown) -> list[Owner]:
    """Every student, the likeliest first; equally likely ones by their code."""
    odds = {student: _odds(known, shown) for student, known in students.items()}
    stranger, _ = _odds(Known(), shown)
    whole = STRANGER_ODDS * stranger + sum(one for one, _ in odds.values())
    owners = [Owner(student, one / whole, because) for student, (one, because) in odds.items()]
    return sorted(owners, key=lambda owner: (-owner.chance, owner.person))


def _odds(known: Known, shown: Shown) -> tuple[float, tuple[str, ...]]:
    """A student's odds and the evidence that fits; a foot's length tells too little to be named as such."""
    mass, foot = known.mass_kg, known.foot_mm
    by_mass = None if mass is None else (mass, hypot(MASS_KG, MASS_SHARE * mass))
    by_foot = None if foot is None else (FARTHEST * foot, FARTHEST_SD * foot)
    lesson = LESSON_ODDS if known.has_lesson else 1.0
    fit = _fit(shown.mass_kg, USUAL_MASS_KG, by_mass)
    because = (["lesson"] if known.has_lesson else []) + (["body_mass"] if fit.fits else [])
    return lesson * fit.odds * _fit(shown.farthest_mm, USUAL_FARTHEST_MM, by_foot).odds, tuple(because)


class _Fit(NamedTuple):
    odds: float
    fits: bool


def _fit(shown: float | None, usual: tuple[float, float], own: tuple[float, float] | None) -> _Fit:
    """The odds of what is shown by a student's `own` mean and standard deviation, else by the usual ones."""
    if shown is None:
        return _Fit(1.0, fits=False)
    by_chance = NormalDist(*usual).pdf(shown)
    if own is None:
        return _Fit(by_chance, fits=False)
    odds = (1.0 - OUTLIER) * NormalDist(*own).pdf(shown) + OUTLIER * by_chance
    return _Fit(odds, fits=abs(shown - own[0]) <= FITS_WITHIN * own[1])
