"""What session.toml says, once read, and on which of its lines a key is."""

import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any

from warehouse import toml
from warehouse.errors import Refusal

FILE, NOBODY = "session.toml", ""
USUAL_PACE = "full"


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
    place: int = 1  # which [[swing]] of the file it is, from 1
    clip: str | None = None  # a keypoint file of this swing alone

    @classmethod
    def found(
        cls, no: int, club: str | None, club_family: str | None, pace: str = USUAL_PACE
    ) -> "SwingEntry":
        """A swing found in a recording, with no entry of its own in session.toml."""
        return cls(no, "baseline", pace, None, club, club_family, {}, {})


@dataclass(frozen=True)
class Event:
    """One event of one swing, with the place it was given."""

    event: str
    t_s: float
    clock: str
    file: str
    line: int | None  # None in session.toml, whose lines are looked up when one is wanted
    heels: Mapping[str, str] = field(default_factory=dict)  # foot → up or down, where somebody looked


@dataclass(frozen=True)
class HoldEntry:
    """One `[[hold]]`: a quiet stand; `rocking`: after rocking to and fro to find the steady place."""

    no: int
    eyes: str
    from_s: float | None
    to_s: float | None
    rocking: bool = False


@dataclass(frozen=True)
class ClipSettings:
    """`[clip]`: how the session's clips were filmed."""

    fps: float
    shoe_length_mm: float | None
    view: str
    offset_s: float | None
    mm_per_px: float | None = None
    shoe_width_mm: float | None = None
    sync: str | None = None  # stamp, or nothing
    runs_through: bool = False  # one recording, whose clips are on one clock
    microphone_m: float | None = None  # from the ball


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
    pace: str = USUAL_PACE  # of every swing whose [[swing]] names no other

    @property
    def who(self) -> dict[str, str | None]:
        """Whom a refusal is listed for."""
        return {"student": self.student, "coach": self.coach, "device": self.device}

    def names(self, file: str) -> bool:
        """Whether a [[swing]] names a file as its own."""
        return any(swing.file == file for swing in self.swings.values())


def session_of_nobody(
    swings: Iterable[int], body_mass_kg: float | None, device: str | None = None
) -> SessionHeader:
    """The header of a session of these swings of which nothing else is known."""
    entries = {no: SwingEntry.found(no, None, None) for no in swings}
    at = datetime(2000, 1, 1)  # noqa: DTZ001 - nobody's
    return SessionHeader(
        session=NOBODY, student=NOBODY, coach=None, started_at=at, day=at.date(), club=None, device=device,
        body_mass_kg=body_mass_kg, stance_mm=None, feet_checked=False, text="", clip=None, swings=entries,
    )  # fmt: skip


def line_of(text: str, key: str, table: str = "", place: int = 1) -> int | None:
    """Line on which a key is in the `place`-th table of that name ("" is the top of the file).

    A table's own sub-tables count as part of it: an event's line is found within its [[swing]].
    """
    lines = _tables(text).get((table, place), [])
    if key:
        given = re.compile(rf"(?:^|[{{,\s]){re.escape(key)}\s*=")
        for number, line in lines:
            if not line.lstrip().startswith("[") and given.search(line):
                return number
    return lines[0][0] if lines and table else None


@lru_cache(maxsize=8)  # a file with many bad swings is gone through once, not once for each
def _tables(text: str) -> dict[tuple[str, int], list[tuple[int, str]]]:
    """The numbered lines of each table, by its name and place among those of that name."""
    tables: dict[tuple[str, int], list[tuple[int, str]]] = {("", 1): []}
    seen, lines = Counter[str](), tables["", 1]
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            name = stripped.split("#")[0].strip().strip("[]").strip()
            top, _, below = name.partition(".")
            if not below or (top, 1) not in tables:
                seen[top] += 1
            lines = tables.setdefault((top, seen[top]), [])
        lines.append((number, line))
    return tables


def utc(at: datetime) -> datetime | None:
    """A time with its offset in UTC, naive; None when that is before the year 1 or after 9999."""
    try:
        return at.astimezone(UTC).replace(tzinfo=None)
    except OverflowError:
        return None


def glance(data: bytes) -> tuple[str | None, datetime | None]:
    """Name and start of a session, as far as they can be read, to bring sessions into order."""
    head = re.split(rb"^[ \t]*\[", data, maxsplit=1, flags=re.MULTILINE)[0]
    try:
        table = toml.tables(head)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError):
        return None, None
    name, at = table.get("session"), table.get("started_at")
    if not isinstance(at, datetime):
        at = None
    elif at.tzinfo is not None:
        at = utc(at)
    return (name if isinstance(name, str) else None), at


def foot_of(side: str, handed: str) -> str:
    """A right-handed golfer's lead foot is the left; a left-handed golfer's is the right."""
    return "lead" if (side == "left") == (handed == "right") else "trail"
