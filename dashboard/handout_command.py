"""What `underfoot lesson` and `underfoot page` share: for whom they write, in which format, and where."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from dashboard import handouts, terminal
from dashboard.text.catalogue import _
from dashboard.text.numbers import count
from warehouse.home import Home

to_option = click.option("--to", "target", type=click.Path(path_type=Path), help="File; else HOME/pages/…")
pdf_option = click.option(
    "--pdf", "as_pdf", is_flag=True, help="As PDF instead of HTML, on the paper that academy.toml names."
)


def options(command: Callable[..., Any]) -> Callable[..., Any]:
    """One student or all of them, HTML or PDF, and where to write."""
    everyone = click.option(
        "--all", "everyone", is_flag=True, help="For every student, one file each, in the folder --to."
    )
    return click.argument("student", required=False)(everyone(pdf_option(to_option(command))))


def write(
    home: Home,
    kind: str,
    make: handouts.Make,
    *,
    student: str | None,
    everyone: bool,
    target: Path | None,
    as_pdf: bool,
) -> None:
    """Write a student's document of a kind, or everyone's, and say where it is.

    Raises
        UsageError: neither a student nor everyone was named, or both.
    """
    if (student is None) != everyone:
        raise click.UsageError(_("Name one student, or say --all for every student."))
    if student is not None:
        print(handouts.write_of_student(home, kind, make, student, target, as_pdf=as_pdf))
        return
    with terminal.progress(_("Writing")) as step:
        files, left_out = handouts.write_of_everyone(home, kind, make, target, as_pdf=as_pdf, step=step)
    terminal.say(left_out, terminal.err)
    folder = target or home.pages
    terminal.say([_("{files} in {folder}.").format(files=count(len(files), "file"), folder=folder)])
