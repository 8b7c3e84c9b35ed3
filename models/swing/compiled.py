"""One way to compile: numba, without the interpreter's lock, kept on disk between runs.

numba keeps a compiled function under the date of its own file only, so a change in a helper of another file
would leave the old machine code in its callers. Here the folder of the kept code is named by the contents of
all of this package's files; a change in any of them compiles everything anew, and the old folder is removed.
"""

import hashlib
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar

import numba as nb

P = ParamSpec("P")
R = TypeVar("R")

PREFIX = "compiled-"


def kept_code(folder: Path) -> Path | None:
    """Where compiled code of the sources in `folder` is kept: __pycache__/compiled-DIGEST; made if missing.

    None when that can't be written: numba then keeps it in the user's own cache.
    """
    digest = hashlib.sha256()
    for source in sorted(folder.glob("*.py")):
        digest.update(source.name.encode() + b"\0" + source.read_bytes())
    kept = folder / "__pycache__" / f"{PREFIX}{digest.hexdigest()[:16]}"
    try:
        if not kept.exists():
            for old in kept.parent.glob(f"{PREFIX}*"):
                shutil.rmtree(old, ignore_errors=True)
            kept.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return kept


KEPT = kept_code(Path(__file__).resolve().parent)


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile at first call and keep the result; division by zero gives inf or NaN as in NumPy.

    No fast-math: NaN means null here, and the same samples must give the same bits on every machine.
    """
    usual = nb.config.CACHE_DIR
    nb.config.CACHE_DIR = str(KEPT) if KEPT is not None else usual
    try:
        fast: Callable[P, R] = nb.njit(nogil=True, cache=True, error_model="numpy", no_cfunc_wrapper=True)(
            function
        )
    finally:
        nb.config.CACHE_DIR = usual
    return fast
