"""Units of device columns, turned into ours: N, mm, s and % of foot length.

Conversions are pint's; what pint can't know is given: body mass for "% of body weight", foot length for a
centre of pressure measured from the heel, and the sampling rate for times counted in frames.
"""

import re
from functools import cache

import pint

from warehouse.errors import UnderfootError

STANDARD_GRAVITY_M_S2 = 9.80665  # exact by definition (3rd General Conference on Weights and Measures, 1901)

_LOAD_UNITS = ("N", "kN", "kgf", "lbf", "% of body weight")
_LENGTH_UNITS = ("mm", "cm", "in", "m")
_ALONG_UNITS = ("%", "mm", "cm", "in")
_TIME_UNITS = ("s", "ms", "us", "frame")
_BODY_WEIGHT = {"% of body weight", "% body weight", "%bw", "% bw"}
_FOOT_LENGTH = {"%", "% of foot length", "pct"}
_FRAMES = {"frame", "frames"}
_PLAIN_UNIT = re.compile(r"[A-Za-zµ]{1,20}")


# Exact by definition (SI; the international inch and pound of 1959), so that the usual units don't wait half
# a second for the library's registry. Tests hold each against the library.
_EXACT = {
    ("N", "newton"): 1.0,
    ("kN", "newton"): 1000.0,
    ("kgf", "newton"): STANDARD_GRAVITY_M_S2,
    ("lbf", "newton"): 0.45359237 * STANDARD_GRAVITY_M_S2,
    ("mm", "millimeter"): 1.0,
    ("cm", "millimeter"): 10.0,
    ("in", "millimeter"): 25.4,
    ("m", "millimeter"): 1000.0,
    ("s", "second"): 1.0,
    ("ms", "second"): 1e-3,
    ("us", "second"): 1e-6,
}


@cache
def _registry() -> pint.UnitRegistry:
    return pint.UnitRegistry(cache_folder=None)


@cache
def _pint_factor(unit: str, target: str) -> float | None:
    """Factor of a plain unit, None when pint does not know it or it measures something else."""
    if not _PLAIN_UNIT.fullmatch(unit):
        return None
    try:
        return float(_registry().Quantity(1.0, _spelled(unit)).to(target).magnitude)
    except (pint.errors.PintError, AttributeError, ValueError, TypeError):
        return None


def _spelled(unit: str) -> str:
    """Names that pint reads otherwise: "in" is a word of its language, kgf it spells out."""
    return {"in": "inch", "kgf": "kilogram_force", "lbf": "pound_force", "µs": "us"}.get(unit, unit)


def load_factor(unit: str | None, *, body_mass_kg: float | None = None) -> float:
    """Factor from a load unit to N.

    Raises
        UnderfootError: an unknown unit, or % of body weight without a body mass.
    """
    if unit is None:
        return 1.0
    if unit.strip().lower() in _BODY_WEIGHT:
        if body_mass_kg is None:
            raise UnderfootError(
                'loads in "% of body weight" need body_mass_kg in session.toml; add it and deliver again'
            )
        return body_mass_kg * STANDARD_GRAVITY_M_S2 / 100.0
    return _known(unit, "newton", _LOAD_UNITS)


def length_factor(unit: str | None) -> float:
    """Factor from a length unit to mm.

    Raises
        UnderfootError: an unknown unit.
    """
    return 1.0 if unit is None else _known(unit, "millimeter", _LENGTH_UNITS)


def along_factor(unit: str | None, *, foot_length_mm: float | None = None) -> float:
    """Factor from a distance from the back of the heel to % of foot length.

    Raises
        UnderfootError: an unknown unit, or a length without the person's foot length.
    """
    if unit is None or unit.strip().lower() in _FOOT_LENGTH:
        return 1.0
    factor = _known(unit, "millimeter", _ALONG_UNITS)
    if foot_length_mm is None:
        raise UnderfootError(
            f'a centre of pressure in "{unit}" needs the student\'s foot_length_mm in people.csv; '
            "add it and deliver again"
        )
    return factor * 100.0 / foot_length_mm


def time_factor(unit: str | None, *, rate_hz: float | None = None) -> float:
    """Factor from a time unit to s.

    Raises
        UnderfootError: an unknown unit, or frames without a rate.
    """
    if unit is None:
        return 1.0
    if unit.strip().lower() in _FRAMES:
        if not rate_hz or rate_hz <= 0:
            raise UnderfootError(
                "times counted in frames need rate_hz under the device in academy.toml; "
                "add it and deliver again"
            )
        return 1.0 / rate_hz
    return _known(unit, "second", _TIME_UNITS)


def _known(unit: str, target: str, usual: tuple[str, ...]) -> float:
    plain = unit.strip()
    factor = _EXACT.get((plain, target)) or _pint_factor(plain, target)
    if factor is None:
        raise UnderfootError(
            f'"{unit}" is not a unit that fits here; use one of {", ".join(usual)} in academy.toml'
        )
    return factor
