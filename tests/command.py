"""Run the command inside the test's own process: the same entry point, without the seconds of imports."""

import contextlib
import io
import sys
from dataclasses import dataclass
from unittest import mock

from rich.console import Console

import underfoot
from dashboard import terminal


@dataclass(frozen=True)
class Ran:
    """What a call of the command left behind."""

    returncode: int
    stdout: str
    stderr: str


def underfoot_command(*words: object) -> Ran:
    """Call `underfoot WORDS…` through its `main`, as the console script does."""
    out, err = io.StringIO(), io.StringIO()
    consoles = {"err": Console(file=err, highlight=False), "out": Console(file=out, highlight=False)}
    with (
        mock.patch.object(sys, "argv", ["underfoot", *map(str, words)]),
        mock.patch.multiple(terminal, **consoles),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            underfoot.main()
            code = 0
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else 1
    return Ran(code, out.getvalue(), err.getvalue())
