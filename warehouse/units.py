"""Units of device columns, turned into ours: N, mm, s and % of foot length.

Conversions are pint's; what pint can't know is given: body mass for "% of body weight", foot length for a
centre of pressure measured from the heel, and the sampling rate for times counted in frames.
"""

import re
from decimal import Decimal
from functools import cache
from typing import Any

from warehouse.errors import UnderfootError

STANDARD_GRAVITY_M_S2 = 9.80665  # exact by definition (3rd General Conference on Weights and Measures, 1901)

_LOAD_UNITS = ("N", "kN", "kgf", "lbf", "% of body weight", "body weights")
LENGTH_UNITS = ("mm", "cm", "in", "m")
_ALONG_UNITS = ("%", "fraction", "mm", "cm", "in")
_TIME_UNITS = ("s", "ms", "us", "frame", "h:m:s", "timestamp")
_BODY_WEIGHT = {"% of body weight", "% body weight", "%bw", "% bw"}
_FOOT_LENGTH = {"%", "% of foot length", "pct"}
_BODY_WEIGHTS = {"body weights", "body weight", "bw"}
_FRAMES = {"frame", "frames"}
_WRITTEN_CLOCKS = {"h:m:s", "timestamp"}  # their cells are read as s
_PLAIN_UNIT = re.compile(r"[A-Za-zµ]{1,20}")
_OURS = {("N", "newton"), ("mm", "millimeter"), ("s", "second")}  # known without pint
# As pint reads them.
_SPELLED = {
    "in": "inch", "gf": "gram_force", "kgf": "kilogram_force", "lbf": "pound_force", "µs": "us",
}  # fmt: skip


@cache
def _registry() -> Any:
    """Pint's units, in decimal so that every factor is the definition's own.

    Importing pint and making the registry takes about a second, so it waits for the first foreign unit.
    """
    from pint import UnitRegistry  # noqa: PLC0415 - see above

    return UnitRegistry(cache_folder=None, non_int_type=Decimal)


@cache
def _factor(unit: str, target: str) -> float | None:
    """Factor of a plain unit; None when pint does not know it or it measures something else."""
    if (unit, target) in _OURS:
        return 1.0
    if not _PLAIN_UNIT.fullmatch(unit):
        return None
    registry = _registry()
    try:
        return float(registry.Quantity(Decimal(1), _SPELLED.get(unit, unit)).to(target).magnitude)
    except (ArithmeticError, AttributeError, ValueError, TypeError):  # pint's own errors are among them
        return None


def load_factor(unit: str | None, *, body_mass_kg: float | None = None) -> float:
    """Factor from a load unit to N.

    Raises
        UnderfootError: an unknown unit, or % of body weight without a body mass.
    """
    if unit is None:
        return 1.0
    written = unit.strip().lower()
    if written in _BODY_WEIGHT | _BODY_WEIGHTS:
        if body_mass_kg is None:
            raise UnderfootError(
                f'loads in "{written}" need body_mass_kg in session.toml; add it and deliver again'
            )
        return body_mass_kg * STANDARD_GRAVITY_M_S2 / (100.0 if written in _BODY_WEIGHT else 1.0)
    return _known(unit, "newton", _LOAD_UNITS)


def length_factor(unit: str | None) -> float:
    """Factor from a length unit to mm.

    Raises
        UnderfootError: an unknown unit.
    """
    return 1.0 if unit is None else _known(unit, "millimeter", LENGTH_UNITS)


def along_factor(unit: str | None, *, foot_length_mm: float | None = None) -> float:
    """Factor from a distance from the back of the heel to % of foot length.

    Raises
        UnderfootError: an unknown unit, or a length without the person's foot length.
    """
    if unit is None or unit.strip().lower() in _FOOT_LENGTH:
        return 1.0
    if unit.strip().lower() == "fraction":
        return 100.0
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
    if unit is None or unit in _WRITTEN_CLOCKS:
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
    factor = _factor(plain, target)
    if factor is None:
        raise UnderfootError(
            f'"{unit}" is not a unit that fits here; use one of {", ".join(usual)} in academy.toml'
        )
    return factor
