"""What a session.toml says, once read; and on which of its lines a thing stands."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from warehouse.errors import Refusal

FILE = "session.toml"


@dataclass(frozen=True)
class SwingEntry:
    """One `[[swing]]`: what session.toml says about it, events still by clock and as written."""

    no: int
    part: str
    pace: str
    drill: str | None
    club: str | None
    club_family: str | None
    events: Mapping[str, Any]
    clip_events: Mapping[str, Any]
    file: str | None = None  # a recording of this swing alone
    place: int = 1  # it is the file's so-manieth [[swing]]
    clip: str | None = None  # a keypoint file of this swing alone


@dataclass(frozen=True)
class HoldEntry:
    """One `[[hold]]`: a quiet stand on the plates."""

    no: int
    eyes: str
    from_s: float | None
    to_s: float | None


@dataclass(frozen=True)
class ClipSettings:
    """`[clip]`: how the session's clips were filmed."""

    fps: float
    shoe_length_mm: float
    view: str
    offset_s: float | None
    mm_per_px: float | None = None
    shoe_width_mm: float | None = None


@dataclass(frozen=True)
class SessionHeader:
    """One session.toml, read. `refused` lists the swings that its own lines rule out."""

    session: str
    student: str
    coach: str | None
    started_at: datetime
    day: date
    club: str | None
    device: str | None
    body_mass_kg: float | None
    stance_mm: tuple[float, ...] | None
    feet_checked: bool
    text: str
    clip: ClipSettings | None
    swings: dict[int, SwingEntry] = field(default_factory=dict)
    holds: dict[int, HoldEntry] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)


def line_of(text: str, key: str, table: str = "", place: int = 1) -> int | None:
    """Line on which a key stands in the `place`-th table of that name ("" is the top of the file).

    A table's own sub-tables count as part of it: an event's line is found within its [[swing]].
    """
    heading, seen, first = "", {"": 1}, None
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            name = stripped.split("#")[0].strip().strip("[]").strip()
            if not name.startswith(f"{table}.") or not table:
                heading, seen[name] = name, seen.get(name, 0) + 1
            if heading == table and seen[heading] == place and first is None:
                first = number
        elif (
            key
            and heading == table
            and seen.get(heading) == place
            and re.search(rf"(?:^|[{{,\s]){re.escape(key)}\s*=", line)
        ):
            return number
    return first


def is_number(value: Any) -> bool:
    """A finite number, and not a truth value."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
