"""What a file format is, what it is given to read a file, and the list of formats there are.

A file is recognised by its name alone; `load --explain` also looks into files whose name says nothing.
Nothing outside this package knows a file name: whoever finds, reads or explains files asks `FORMATS`.

To add a format: a module with one class derived from `SampleFormat`, `PointsFormat`, `FilmFormat`,
`EventFormat`, `LineFormat` or `RosterFormat`; its line in `ingest/formats/__init__.py`; a test.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, ClassVar, TypeVar

import polars as pl

from ingest.academy import Academy, Person
from ingest.film.tracks import Filmed
from ingest.formats.explanation import NOTHING_KNOWN, Explanation, Knowing
from ingest.plate_rows import SampleFile
from ingest.refusals import refuse
from ingest.session_file import FILE, ClipSettings, Event, SessionHeader
from warehouse.devices import DeviceSettings, Layout
from warehouse.errors import Refusal, UnderfootError
from warehouse.vocabulary import is_photo

Row = dict[str, Any]
RefusedSwings = dict[int | None, Refusal]  # None: lines without a swing's number
Kind = TypeVar("Kind", bound="Format")


@dataclass(frozen=True)
class SessionContext:
    """What is at hand while one file of a session is read.

    `names` are the session's files below the folder `base`, and `held` the contents of those that are read
    into memory. In filed/ (`filed`) the tracks of films are beside them, and a minor's original may be gone.
    `progress` is called with how far a film has been followed.
    """

    header: SessionHeader
    academy: Academy
    base: Path
    names: Sequence[str] = ()
    held: Mapping[str, bytes] = field(default_factory=dict)
    filed: bool = False
    progress: Callable[[str], None] | None = None

    @property
    def person(self) -> Person:
        """The student."""
        return self.academy.people[self.header.student]

    @property
    def device(self) -> DeviceSettings | None:
        """The `[device.NAME]` table of the session's device."""
        return self.academy.settings.devices.get(self.header.device or "")

    @property
    def layout(self) -> Layout | None:
        """How the device's files are laid out; None for plain text, or without a device."""
        return self.device.layout if self.device is not None else None

    def hand(self, file: str, because: str = "", **place: object) -> str:
        """The hand the student plays with, "right" or "left".

        Refused where people.csv does not say; `because` opens the sentence with why it is needed.
        """
        if self.person.handed is None:
            what = f"{because}people.csv does not say which hand {self.header.student} plays with"
            todo = "fill in handed for them and deliver people.csv and the session again"
            raise refuse("no_handedness", what, todo, file=file, **place)
        return self.person.handed

    def clip(self) -> ClipSettings:
        """The session's `[clip]`; refused where nothing says a clip's frame rate."""
        if self.header.clip is None:
            what = "there is a clip but session.toml has no [clip] table"
            todo = "add [clip] with fps, shoe_length_mm and view, and deliver the session again"
            raise refuse("no_clip_table", what, todo, session=self.header.session, file=FILE)
        return self.header.clip


@dataclass(frozen=True)
class LineContext:
    """What the lines of notes and shots are checked against; `header` is None for a file outside a session.

    `session_student` gives the student of a session, None when there is no such session; `swings_of` the
    swing numbers of a session; `not_theirs` the column of a line of notes and what in it speaks against its
    deliverer's delivering it, None where nothing does, or nobody delivered it through the pages.
    """

    academy: Academy
    session_student: Callable[[str], str | None]
    swings_of: Callable[[str], Collection[int]]
    header: SessionHeader | None = None
    not_theirs: Callable[[Mapping[str, Any]], tuple[str, str] | None] | None = None


@dataclass(frozen=True)
class Lines:
    """Rows of a file of lines by their key, less where they came from, and the lines refused."""

    rows: dict[Any, Row]
    refused: Sequence[Refusal]


class Format(ABC):
    """One kind of delivered file. Its `read` and `explain` raise Refused for one that can't be read.

    names: patterns of its usual names, in lower case.
    endings: session.toml may name a file of this kind that has another name with one of these endings.
    orphans: patterns of names that show a folder to be a session's even without session.toml.
    in_memory: its files are small enough to be read whole; others are opened at their path.
    in_session: it is part of a session's folder; loose: what such a file is outside of one, if anything.
    """

    title: ClassVar[str]
    names: tuple[str, ...]
    endings: ClassVar[tuple[str, ...]] = ()
    orphans: ClassVar[tuple[str, ...]] = ()
    in_memory: ClassVar[bool] = True
    in_session: ClassVar[bool] = True
    loose: ClassVar[str | None] = None

    def recognises(self, name: str) -> bool:
        """Whether a file of a session is of this kind by its usual name."""
        return any(fnmatchcase(name.lower(), pattern) for pattern in self.names)

    def looks_like(self, path: Path) -> bool:  # noqa: ARG002 - most formats are known by name only
        """Whether a file of another name is of this kind by its contents (asked by `explain` alone)."""
        return False

    @abstractmethod
    def explain(self, path: Path, knowing: Knowing) -> Explanation:
        """Describe a file without loading it."""


class SampleFormat(Format):
    """Samples of both feet; `one_swing`: what is wrong with a swing's own file refuses that swing only."""

    one_swing: ClassVar[bool] = False

    def is_part(self, name: str, context: SessionContext) -> bool:  # noqa: ARG002 - most files are whole
        """Whether a file is read together with another one, which is read in its place."""
        return False

    @abstractmethod
    def read(self, name: str, swing_no: int | None, context: SessionContext) -> SampleFile:
        """Read one file; `swing_no` is the swing it is, where session.toml says so."""


class PointsFormat(Format):
    """Where heels and toes were seen in one swing's clip."""

    @abstractmethod
    def read(self, name: str, context: SessionContext) -> pl.DataFrame:
        """Rows frame, point (lead_heel, …), x_px, y_px, score."""


class PointTableFormat(Format):
    """Where heels and toes were seen in the clips of any number of swings."""

    @abstractmethod
    def read(self, name: str, context: SessionContext) -> tuple[pl.DataFrame, list[Refusal]]:
        """Rows swing_no, frame, point, x_px, y_px, score of the good swings, and the swings refused."""


class FilmFormat(Format):
    """A film of one swing, whose marks are followed."""

    in_memory = False

    @abstractmethod
    def read(self, no: int, name: str, context: SessionContext) -> tuple[pl.DataFrame, Filmed, str | None]:
        """Points as `PointsFormat.read` gives them, what to keep of the film, and a notice."""

    @abstractmethod
    def keep(self, no: int, name: str, points: pl.DataFrame, context: SessionContext) -> Filmed:
        """What to keep of a film whose points came in another file."""


class EventFormat(Format):
    """Times of swing events in a file of their own."""

    @abstractmethod
    def read(self, name: str, context: SessionContext) -> tuple[list[tuple[int, Event]], RefusedSwings]:
        """Events with their swing's number, and the swings refused by a broken line."""


class LineFormat(Format):
    """Notes or shots, in a session or loose: good lines land in `table`, bad ones are refused one by one."""

    table: ClassVar[str]

    @abstractmethod
    def read(self, data: bytes, file: str, context: LineContext) -> Lines:
        """Rows of `table` (without delivery and loose) by their key, and the lines refused."""

    def duplicate(self, row: Row, first: str, file: str) -> Refusal | None:  # noqa: ARG002
        """Refusal of a row whose key came in the file `first` already; None when it is just the same row."""
        return None


class RosterFormat(Format):
    """One of the academy's own files: the table its rows land in, and their key."""

    in_session = False
    loose = "roster"
    table: str
    key: tuple[str, ...]

    @abstractmethod
    def read(self, data: bytes, academy: Academy) -> pl.DataFrame:
        """Rows ready for the table; the first line that breaks a rule refuses the file."""


FORMATS: list[Format] = []
"""Every format, filled in by `ingest/formats/__init__.py`; where two could read a file, the earlier does."""


def formats(kind: type[Kind]) -> list[Kind]:
    """The formats of a kind."""
    return [one for one in FORMATS if isinstance(one, kind)]


def files_of(kind: type[Kind], names: Iterable[str], named: Collection[str | None] = ()) -> dict[str, Kind]:
    """Files of a session that are of a kind of format, each with its format.

    They have a usual name, or are `named` in session.toml and have a fitting ending.
    """
    found = {}
    for name in names:
        known = [one for one in formats(kind) if one.recognises(name)]
        if not known and name in named:
            known = [one for one in formats(kind) if name.lower().endswith(one.endings)]
        if known:
            found[name] = known[0]
    return found


def is_known(name: str) -> bool:
    """Whether a file of a session has the usual name of some format, or is a photo to keep beside it."""
    return is_photo(name) or any(one.in_session and one.recognises(name) for one in FORMATS)


def is_in_memory(name: str) -> bool:
    """Whether a file is read whole, by its ending."""
    patterns = (p for one in FORMATS if one.in_memory for p in (*one.names, *one.endings))
    return name.lower().endswith(tuple({pattern[pattern.rindex(".") :] for pattern in patterns}))


def is_orphan(name: str) -> bool:
    """Whether a file outside a session shows that its folder is a session's without its session.toml."""
    return any(fnmatchcase(name.lower(), pattern) for one in FORMATS for pattern in one.orphans)


def loose_kind(name: str) -> str | None:
    """What a file outside of any session is, by its name; None: not a delivery of its own."""
    return next((f.loose for f in FORMATS if f.loose and any(fnmatchcase(name, p) for p in f.names)), None)


def explain(path: Path, knowing: Knowing = NOTHING_KNOWN) -> Explanation:
    """Say how `path` would be read, and load nothing.

    Raises
        UnderfootError: the file can't be read at all, in the words a load would use.
    """
    try:
        known = next((one for one in FORMATS if one.recognises(path.name)), None)
        known = known or next((one for one in FORMATS if one.looks_like(path)), None)
        if known is not None:
            return known.explain(path, knowing)
    except (pl.exceptions.PolarsError, OSError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise UnderfootError(f"{path.name} can't be read ({why}); export it again.") from error
    if path.suffix.lower() in (".zip", ".gz", ".7z", ".rar"):
        raise UnderfootError(f"{path.name} is packed; unpack it, and explain the file that is in it.")
    raise UnderfootError(f"{path.name} is of no known format; export its samples as CSV or xlsx.")
