"""One way to compile: numba, without the interpreter's lock, kept on disk between runs."""

from collections.abc import Callable
from typing import ParamSpec, TypeVar

import numba as nb

P = ParamSpec("P")
R = TypeVar("R")


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile at first call and keep the result in the cache; division by zero gives inf or NaN as in NumPy.

    No fast-math: NaN means null here, and the same samples must give the same bits on every machine.
    """
    fast: Callable[P, R] = nb.njit(nogil=True, cache=True, error_model="numpy", no_cfunc_wrapper=True)(
        function
    )
    return fast
