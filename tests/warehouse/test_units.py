"""Units: the exact factors kept here equal the library's, and what is no unit is said so."""

import pytest

from warehouse import units
from warehouse.errors import UnderfootError


@pytest.mark.parametrize(("unit", "target"), units._EXACT)
def test_each_exact_factor_equals_the_librarys(unit, target):
    """Source: pint's registry (NIST SP 811 values)."""
    assert units._EXACT[unit, target] == pytest.approx(units._pint_factor(unit, target), rel=1e-12)


def test_a_unit_that_is_not_kept_here_is_the_librarys():
    assert units.length_factor("dm") == pytest.approx(100.0)


@pytest.mark.parametrize("unit", ["furlongs per week", "s", "%", "?"])
def test_what_measures_something_else_is_refused_with_the_units_that_fit(unit):
    with pytest.raises(UnderfootError, match="use one of N, kN, kgf, lbf"):
        units.load_factor(unit)
