"""Whose a recording is likely to be, by the standing load in it: an academy's students, the likeliest first.

A student whose body mass is not known is judged by how usual the mass shown is. How far a known one may
differ: common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from math import exp, hypot, pi, sqrt

from warehouse.store import Writer

MASS_KG, MASS_SHARE = 1.5, 0.03  # standard deviations: clothes and the plate, and since it was last known
USUAL_MASS_KG = (68.0, 20.0)  # mean and standard deviation of golfers
OUTLIER, STRANGER_ODDS = 0.02, 0.5
FITS_WITHIN = 2.5  # standard deviations
_MASSES = """
    SELECT p.person, arg_max(s.body_mass_kg, s.started_at) FROM academy.person p
    LEFT JOIN academy.session s ON s.student = p.person AND s.body_mass_kg IS NOT NULL AND s.day <= ?
    WHERE p.role = 'student' AND p.joined <= ? AND (p."left" IS NULL OR p."left" >= ?) GROUP BY p.person
"""


@dataclass(frozen=True)
class Owner:
    """A likely owner: `chance` of 0 to 1 among all students and a stranger, and which evidence fits."""

    person: str
    chance: float
    because: tuple[str, ...]


def masses_kg(writer: Writer, day: date) -> dict[str, float | None]:
    """The students of a day, each with the last body mass known by then."""
    return dict(writer.sql(_MASSES, [day, day, day]).iter_rows())


def likely_owners(students: Mapping[str, float | None], shown_kg: float | None) -> list[Owner]:
    """Every student by their body mass (kg), the likeliest first; equally likely ones by their code."""
    odds = {student: _odds(mass, shown_kg) for student, mass in students.items()}
    whole = STRANGER_ODDS * _odds(None, shown_kg)[0] + sum(one for one, _ in odds.values())
    owners = [Owner(student, one / whole, because) for student, (one, because) in odds.items()]
    return sorted(owners, key=lambda owner: (-owner.chance, owner.person))


def _odds(known_kg: float | None, shown_kg: float | None) -> tuple[float, tuple[str, ...]]:
    if shown_kg is None:
        return 1.0, ()
    by_chance = _normal(shown_kg, *USUAL_MASS_KG)
    if known_kg is None:
        return by_chance, ()
    spread = hypot(MASS_KG, MASS_SHARE * known_kg)
    fits = abs(shown_kg - known_kg) <= FITS_WITHIN * spread
    odds = (1.0 - OUTLIER) * _normal(shown_kg, known_kg, spread) + OUTLIER * by_chance
    return odds, ("body_mass",) if fits else ()


def _normal(value: float, mean: float, spread: float) -> float:
    return exp(-0.5 * ((value - mean) / spread) ** 2) / (spread * sqrt(2.0 * pi))
