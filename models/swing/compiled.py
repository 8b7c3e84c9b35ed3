"""One way to compile: numba, without the interpreter's lock, kept on disk between runs.

numba keeps a compiled function under the date of its own file only, so a change in a helper of another file
would leave the old machine code in its callers. Here the folder of the kept code is named by the contents of
every file that holds compiled functions, and of what those import from this package; a change in any of them
compiles everything anew, and the old folder is removed.
"""

import hashlib
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar

import numba as nb

P = ParamSpec("P")
R = TypeVar("R")

PREFIX = "compiled-"


def compiled_sources(folder: Path) -> list[Path]:
    """The files in `folder` with a line `@compiled`, and those they import from this package, by name."""
    texts = {source.stem: source.read_text(encoding="utf-8") for source in folder.glob("*.py")}
    wanted = {name for name, text in texts.items() if re.search(r"^@compiled$", text, re.MULTILINE)}
    waiting = list(wanted)
    while waiting:
        text = texts[waiting.pop()]
        found = re.findall(r"^from models\.swing(?:\.(\w+))? import (\w+)", text, re.MULTILINE)
        more = {module or name for module, name in found} & texts.keys() - wanted
        wanted |= more
        waiting += more
    return [folder / f"{name}.py" for name in sorted(wanted)]


def kept_code(folder: Path) -> Path | None:
    """Where compiled code of the sources in `folder` is kept: __pycache__/compiled-DIGEST; made if missing.

    None when that can't be written: numba then keeps it in the user's own cache.
    """
    digest = hashlib.sha256()
    for source in compiled_sources(folder):
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
