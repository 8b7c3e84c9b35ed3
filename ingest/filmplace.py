"""Where a session's films stand, and whom to tell how far each is followed."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

Tell = Callable[[str], None]


@dataclass(frozen=True)
class FilmPlace:
    """A delivery's folder; in filed/ tracks stand beside the films, and a minor's original may be gone."""

    base: Path
    filed: bool = False
    tell: Tell | None = None
