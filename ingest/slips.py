"""Slips at the command line: a path that is no delivery, to be asked about before it is loaded."""

from collections.abc import Sequence
from pathlib import Path

from warehouse.home import Home, walk
from warehouse.vocabulary import PHOTO_ENDINGS

MOST_PHOTOS = 20  # beside a session: of a notebook, of the feet


def doubt_about(home: Home, paths: Sequence[Path]) -> str | None:
    """What speaks against loading these paths, in one sentence; None when nothing does."""
    own = home.path.resolve()
    for path in (path.resolve() for path in paths):
        if own == path or own.is_relative_to(path) or (path / "filed" / "ledger.jsonl").is_file():
            return f"{path} is, or holds, a whole academy and not a delivery."
        photos = sum(
            Path(name).suffix.lower() in PHOTO_ENDINGS for _, _, names in walk(path) for name in names
        )
        if photos > MOST_PHOTOS:
            return f"{path} holds {photos} photos, which no format takes."
    return None
