"""One way to compile: numba, without the interpreter's lock, kept on disk between runs.

numba keeps a compiled function under the date of its own file only, so a change in a helper of another file
would leave the old machine code in its callers. Here the folder of the kept code is named by the contents of
every file that holds compiled functions, of what those import from this package, and of the metric section
that is written from the formulas of metrics.toml; a change in any of them compiles everything anew, and the
old folder is removed.
"""

import hashlib
import importlib.util
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import ParamSpec, TypeVar

import numba as nb

from models.swing.formulas import section_text

P = ParamSpec("P")
R = TypeVar("R")

nb.config.SLP_VECTORIZE = 1  # the filter's four lanes in one register; the same operations, the same bits
PREFIX = "compiled-"
SECTION = "metric_section"


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


def kept_code(folder: Path, section: str = "") -> Path | None:
    """Where compiled code of the sources in `folder` is kept: __pycache__/compiled-DIGEST; made if missing.

    `section` is source that is no file of the folder. Where the folder can't be written, it is kept below the
    user's own cache; None when that can't be written either.
    """
    digest = hashlib.sha256(section.encode())
    for source in compiled_sources(folder):
        digest.update(source.name.encode() + b"\0" + source.read_bytes())
    own = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "underfoot"
    for place in (folder / "__pycache__", own):
        kept = place / f"{PREFIX}{digest.hexdigest()[:16]}"
        try:
            if not kept.exists():
                for old in kept.parent.glob(f"{PREFIX}*"):
                    shutil.rmtree(old, ignore_errors=True)
                kept.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        return kept
    return None


KEPT = kept_code(Path(__file__).resolve().parent, section_text())


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


@cache
def metric_section() -> ModuleType:
    """The metric section as a module: written beside its compiled code, and imported from there.

    It is written once under a date that never changes, as numba takes another date for another source.
    """
    folder = KEPT if KEPT is not None else Path(tempfile.mkdtemp(prefix="underfoot-"))
    file = folder / f"{SECTION}.py"
    if not file.exists():
        part = folder / f"{SECTION}.{os.getpid()}"
        part.write_text(section_text(), encoding="utf-8")
        os.utime(part, (0, 0))
        part.replace(file)
    name = f"models.swing.{SECTION}"
    spec = importlib.util.spec_from_file_location(name, file)
    if spec is None or spec.loader is None:
        raise ImportError(f"{file} is no Python module.")
    sys.modules[name] = module = importlib.util.module_from_spec(spec)  # numba looks it up by name
    spec.loader.exec_module(module)
    return module
