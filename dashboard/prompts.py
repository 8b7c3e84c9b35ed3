"""What the command asks at the terminal: a passphrase, and whether to go on."""

import os
import sys
from collections.abc import Sequence
from pathlib import Path

import click

from dashboard.text.catalogue import _
from warehouse.errors import CallError
from warehouse.home import Home, walk
from warehouse.vocabulary import PHOTO_ENDINGS

PASSPHRASE = "UNDERFOOT_PASSPHRASE"  # noqa: S105 - its name in the environment
SHORTEST_PASSPHRASE, SHORTEST_KEY = 12, 16
MOST_PHOTOS = 20  # beside a session: of a notebook, of the feet
key_file_option = click.option(
    "--key-file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="A file of at least 16 bytes in the place of a passphrase.",
)


def secret(key_file: Path | None, *, new: bool = False) -> bytes:
    """What a backup is sealed with: a key file, else the environment's passphrase, else it is asked for.

    Raises
        CallError: it is too short to protect anything, or there is nobody to ask.
    """
    if key_file is not None:
        found = key_file.read_bytes()
    elif PASSPHRASE in os.environ:
        found = os.environ[PASSPHRASE].encode()
    elif sys.stdin.isatty():
        found = click.prompt(_("Passphrase"), hide_input=True, confirmation_prompt=new, err=True).encode()
    else:
        missing = _("A backup is sealed: give --key-file FILE, or set {name} in the environment.")
        raise CallError(missing.format(name=PASSPHRASE))
    if new and len(found) < (SHORTEST_KEY if key_file is not None else SHORTEST_PASSPHRASE):
        short = _("That is too short: a passphrase has at least {letters} letters, a key file {size} bytes.")
        raise CallError(short.format(letters=SHORTEST_PASSPHRASE, size=SHORTEST_KEY))
    return found


def ask_to_forget(student: str) -> None:
    """Ask at the terminal before a student is forgotten; any other answer ends the command."""
    question = _(
        "This removes everything of {student} for good: sessions, samples, films, notes, consents, pages and "
        "links. Export it first if it is still wanted. Forget {student}?"
    )
    click.confirm(question.format(student=student), abort=True, err=True)


def _doubt_about(home: Home, paths: Sequence[Path]) -> str | None:
    """What speaks against loading these paths, in one sentence; None when nothing does."""
    own = home.path.resolve()
    for path in (path.resolve() for path in paths):
        if own == path or own.is_relative_to(path) or (path / "filed" / "ledger.jsonl").is_file():
            return _("{path} is, or holds, a whole academy and not a delivery.").format(path=path)
        photos = sum(
            Path(name).suffix.lower() in PHOTO_ENDINGS for _, _, names in walk(path) for name in names
        )
        if photos > MOST_PHOTOS:
            return _("{path} holds {n} photos, which no format takes.").format(path=path, n=photos)
    return None


def ask_about(home: Home, paths: Sequence[Path]) -> None:
    """Ask before something is loaded that looks like a slip; without a terminal it is not done.

    Raises
        CallError: nobody is there to be asked.
    """
    doubt = _doubt_about(home, paths)
    if doubt is None:
        return
    if not sys.stdin.isatty():
        raise CallError(_("{doubt} Load it all the same with --yes.").format(doubt=doubt))
    click.confirm(_("{doubt} Load it all the same?").format(doubt=doubt), abort=True, err=True)
