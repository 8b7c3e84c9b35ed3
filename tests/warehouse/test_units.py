"""Units: every factor is its definition's to the last bit, and what is no unit that fits is refused."""

import subprocess
import sys

import pytest

from warehouse import units
from warehouse.errors import UnderfootError

GRAVITY = 9.80665
DEFINED = {
    units.load_factor: {"N": 1.0, "kN": 1000.0, "kgf": GRAVITY, "lbf": 0.45359237 * GRAVITY},
    units.length_factor: {"mm": 1.0, "cm": 10.0, "dm": 100.0, "in": 25.4, "m": 1000.0},
    units.time_factor: {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6},
}


@pytest.mark.parametrize("factor", DEFINED)
def test_each_factor_is_exactly_its_definition(factor):
    """Source: SI; the international inch and pound of 1959; standard gravity of 1901."""
    assert {unit: factor(unit) for unit in DEFINED[factor]} == DEFINED[factor]


def test_our_own_units_do_not_wait_for_the_library():
    code = "from warehouse.units import *; load_factor('N'); along_factor('%'); time_factor('s'); length_factor('mm')"
    code += "; import sys; assert 'pint' not in sys.modules; load_factor('lbf'); assert 'pint' in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize("unit", ["furlongs per week", "s", "%", "?"])
def test_what_measures_something_else_is_refused_with_the_units_that_fit(unit):
    with pytest.raises(UnderfootError, match="use one of N, kN, kgf, lbf"):
        units.load_factor(unit)
