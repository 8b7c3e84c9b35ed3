"""Where a session's films stand, and whom to tell how far each is followed."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

ENDINGS = (".mp4", ".mov", ".m4v", ".webm")
Tell = Callable[[str], None]


@dataclass(frozen=True)
class FilmPlace:
    """A delivery's folder; in filed/ tracks stand beside the films, and a minor's original may be gone."""

    base: Path
    filed: bool = False
    tell: Tell | None = None


def is_film(name: str) -> bool:
    """Whether a file is a film, by its ending."""
    return name.lower().endswith(ENDINGS)
