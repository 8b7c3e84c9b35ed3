"""Warming the compiled kernels at set-up."""

import inspect
import re

from models.season import mixed
from models.warm import warm, warm_season


def test_warming_reduces_one_swing():
    assert warm() == 1


def test_warming_compiles_all_that_a_season_is_fitted_with():
    assert warm_season() > 0
    called = set(re.findall(r"(\w*kernel)\.(\w+)\(", inspect.getsource(mixed)))
    assert len(called) >= 4
    compiled = {name: getattr(getattr(mixed, place), name) for place, name in called}
    assert [name for name, function in compiled.items() if not function.signatures] == []
