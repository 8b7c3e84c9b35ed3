"""Whose a recording is likely to be: an academy's students, the likeliest first.

One rule for a part of a recording of several people and for a file that names nobody. Each piece of evidence
multiplies the odds: the standing load against the last known body mass, the foot length, the hand played
with, and whether the student is expected that day. A student of whom something is not known is judged by how
usual it is. How far each may differ: common practice, no source.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from math import exp, hypot, pi, sqrt
from typing import Any

import polars as pl

MASS_KG, MASS_SHARE = 1.5, 0.03  # standard deviations: clothes and the plate, and since it was last known
FOOT_MM = 5.0
USUAL_MASS_KG, USUAL_FOOT_MM = (68.0, 20.0), (255.0, 22.0)  # mean and standard deviation of golfers
OFTEN_RIGHT, SAME_HAND, OUTLIER = 0.9, 0.98, 0.02
EXPECTED_ODDS, STRANGER_ODDS = 8.0, 0.5
CLEAR = 0.9  # chance from which one owner may be proposed alone
FITS_WITHIN = 2.5  # standard deviations
EXPECTED, BODY_MASS, FOOT_LENGTH, HAND = REASONS = ("expected", "body_mass", "foot_length", "hand")


@dataclass(frozen=True)
class Shown:
    """What a recording shows of the person in it; None where it does not."""

    mass_kg: float | None = None
    foot_length_mm: float | None = None
    handed: str | None = None


@dataclass(frozen=True)
class Candidate:
    """A student and what is known of them."""

    person: str
    mass_kg: float | None = None
    foot_length_mm: float | None = None
    handed: str | None = None
    expected: bool = False


@dataclass(frozen=True)
class Owner:
    """A likely owner: `chance` of 0 to 1 among all candidates and a stranger, and which evidence fits."""

    person: str
    chance: float
    because: tuple[str, ...]


def likely_owners(candidates: Sequence[Candidate], shown: Shown) -> list[Owner]:
    """Every candidate, the likeliest first; equally likely ones by their code."""
    stranger = STRANGER_ODDS * _odds(Candidate(""), shown)[0]
    found = [(one, *_odds(one, shown)) for one in candidates]
    whole = stranger + sum(odds for _, odds, _ in found)
    owners = [Owner(one.person, odds / whole, because) for one, odds, because in found]
    return sorted(owners, key=lambda owner: (-owner.chance, owner.person))


def clear_owner(owners: Sequence[Owner]) -> str | None:
    """The one owner who may be proposed without a question; None where it has to be asked."""
    return owners[0].person if owners and owners[0].chance >= CLEAR else None


def students_of(
    sql: Callable[[str, list[Any]], pl.DataFrame], day: date, expected: Collection[str] = (), schema: str = ""
) -> list[Candidate]:
    """The students of a day, with their last body mass by then; `schema` opens the names of tables."""
    rows = sql(
        f"SELECT p.person, arg_max(s.body_mass_kg, s.started_at) AS mass_kg, p.foot_length_mm, p.handed "
        f"FROM {schema}person p LEFT JOIN {schema}session s "
        "ON s.student = p.person AND s.body_mass_kg IS NOT NULL AND s.day <= ? "
        'WHERE p.role = \'student\' AND p.joined <= ? AND (p."left" IS NULL OR p."left" >= ?) '
        "GROUP BY ALL ORDER BY p.person",
        [day, day, day],
    )
    return [Candidate(**row, expected=row["person"] in expected) for row in rows.iter_rows(named=True)]


def _odds(one: Candidate, shown: Shown) -> tuple[float, tuple[str, ...]]:
    odds, because = (EXPECTED_ODDS, [EXPECTED]) if one.expected else (1.0, [])
    spread_kg = hypot(MASS_KG, MASS_SHARE * (one.mass_kg or 0.0))
    for name, value, known, spread, usual in (
        (BODY_MASS, shown.mass_kg, one.mass_kg, spread_kg, USUAL_MASS_KG),
        (FOOT_LENGTH, shown.foot_length_mm, one.foot_length_mm, FOOT_MM, USUAL_FOOT_MM),
    ):
        if value is None:
            continue
        by_chance = _normal(value, *usual)
        if known is None:
            odds *= by_chance
        else:
            odds *= (1.0 - OUTLIER) * _normal(value, known, spread) + OUTLIER * by_chance
            because += [name] if abs(value - known) <= FITS_WITHIN * spread else []
    if shown.handed is not None:
        by_chance = OFTEN_RIGHT if shown.handed == "right" else 1.0 - OFTEN_RIGHT
        same = one.handed == shown.handed
        odds *= by_chance if one.handed is None else SAME_HAND if same else 1.0 - SAME_HAND
        because += [HAND] if same else []
    return odds, tuple(because)


def _normal(value: float, mean: float, spread: float) -> float:
    return exp(-0.5 * ((value - mean) / spread) ** 2) / (spread * sqrt(2.0 * pi))
