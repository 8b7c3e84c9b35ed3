"""Files of a session that hold samples or clips: which swing each is, and what came of reading it."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from ingest.film.points import tapped_feet_swapped
from ingest.film.tracks import Filmed, Unread
from ingest.formats.format import (
    FilmFormat,
    PointsFormat,
    PointTableFormat,
    SampleFormat,
    SessionContext,
    files_of,
    formats,
)
from ingest.plate_rows import FoundSwing, SampleFile
from ingest.recording.swings import after, in_words
from ingest.refusals import AGAIN, of_swing, refuse, shown
from ingest.session_file import FILE, SessionHeader, SwingEntry
from warehouse import filed
from warehouse.errors import Refusal, Refused, UnderfootError
from warehouse.filed import BY_ROSTER

NO_POINTS = pl.DataFrame(
    schema={"swing_no": pl.Int64, "frame": pl.Int64, "point": pl.String, "x_px": pl.Float64,
            "y_px": pl.Float64, "score": pl.Float64}
)  # fmt: skip


@dataclass
class Measured:
    """What a session's sample files came to.

    `header` has what a recording itself says and session.toml does not: stance, body mass. `events` are those
    labelled in a swing's own recording; `flags` what a reader saw of a swing, with a count each; `refused`
    swings whose own recording is refused; `notices` what was repaired while reading, a sentence each; `found`
    the swings that recordings were cut into, by number.
    """

    header: SessionHeader
    files: list[SampleFile] = field(default_factory=list)
    events: dict[int, dict[str, float]] = field(default_factory=dict)
    flags: dict[int, dict[str, int]] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    found: dict[int, FoundSwing] = field(default_factory=dict)
    unnamed: bool = False  # session.toml names no swing: those that the files number are its own

    def take(self, found: SampleFile, *, club_family: str | None = None) -> None:
        """Add what one file holds, and swings found in it that session.toml does not name."""
        if found.found:
            found = after(found, max(self.found, default=0))
            self.found |= found.found
            account = in_words(found.found.values())
            self.notices.append(f"Session {self.header.session}, {found.file}: {account}.")
        numbers: Iterable[int] = found.found or (found.numbers if self.unnamed else ())
        added = {no: SwingEntry.found(no, self.header.club, club_family, self.header.pace) for no in numbers}
        self.header = replace(self.header, swings=added | self.header.swings)
        self.files.append(found)
        self.events |= found.events
        for no, flags in found.flags.items():
            self.flags.setdefault(no, {}).update(flags)
        if found.notice is not None:
            self.notices.append(f"Session {self.header.session}, {found.file}: {found.notice}")
        self.header = replace(
            self.header,
            stance_mm=self.header.stance_mm or found.stance_mm,
            body_mass_kg=self.header.body_mass_kg or found.body_mass_kg,
        )


def sample_files(names: Sequence[str], header: SessionHeader) -> dict[str, SampleFormat]:
    """The files among a session's that hold samples: by their usual name, or as a [[swing]] names them.

    They are in the order of the numbers in their names, so that swing 10 comes after swing 2.
    """
    parts = {name: re.split(r"([0-9]+)", name) for name in names}
    ordered = sorted(names, key=lambda name: [int(p) if p.isdigit() else p for p in parts[name]])
    return files_of(SampleFormat, ordered, {swing.file for swing in header.swings.values()})


def read_measured(context: SessionContext) -> Measured:
    """Read every sample file of a session; refused where one of several swings can't be read."""
    header = context.header
    measured = Measured(header, unnamed=not (header.swings or header.holds or header.refused))
    files = sample_files(context.names, header)
    runs_on = not (header.swings or header.refused)  # a recording for which no swing is named may hold many
    for name, kind in files.items():
        if (runs_on or not kind.one_swing) and not kind.is_part(name, context):
            alike = [other for other in files if files[other] is kind]
            no = _swing_of(header, name, alike)
            known = replace(measured.header, swings=header.swings)
            found = kind.read(name, no, replace(context, header=known))
            measured.take(
                found, club_family=_club_family(context) if found.found or measured.unnamed else None
            )
    for no, name in ({} if runs_on else _swings_of(header, files)).items():
        try:
            if name not in files or not files[name].one_swing:
                what = f"{name} is not a plate file or recording in the session's folder"
                raise refuse("no_samples", what, AGAIN, file=FILE, column="file")
            measured.take(files[name].read(name, no, replace(context, header=measured.header)))
        except Refused as refused:
            measured.refused.append(of_swing(refused.refusal, no, header.session))
    return measured


def _club_family(context: SessionContext) -> str | None:
    """The family of the session's club; a swing that session.toml names has been asked for its own."""
    club = context.header.club
    try:
        return None if club is None else context.academy.settings.club_family(club)
    except UnderfootError as error:
        what, todo = f"the club {shown(club)} fits no club family", "name it so and deliver again"
        raise refuse("unknown_club", what, todo, file=FILE, column="club") from error


def _swing_of(header: SessionHeader, name: str, alike: Sequence[str]) -> int | None:
    """Which swing a plate file is, if it is one: as its [[swing]] names it, or one file of one swing."""
    named = [no for no, swing in header.swings.items() if swing.file == name]
    if len(named) == 1:
        return named[0]
    return next(iter(header.swings)) if len(alike) == len(header.swings) == 1 and not header.holds else None


def _swings_of(header: SessionHeader, files: Mapping[str, SampleFormat]) -> dict[int, str]:
    """Which swing each recording is: as its [[swing]] names it; one recording of one swing needs no name."""
    named = {
        no: swing.file
        for no, swing in header.swings.items()
        if swing.file is not None and (swing.file not in files or files[swing.file].one_swing)
    }
    recordings = [name for name, kind in files.items() if kind.one_swing]
    if not named and len(recordings) == 1 and len(header.swings) == 1:
        return {next(iter(header.swings)): recordings[0]}
    unnamed = [name for name in recordings if name not in named.values()]
    if unnamed:
        what = f"{unnamed[0]} is not named by any [[swing]]"
        todo = f'add file = "{unnamed[0]}" to the swing it is, and deliver the session again'
        raise refuse("unmatched_swing", what, todo, session=header.session, file=FILE)
    return named


def clip_files(names: Iterable[str], header: SessionHeader) -> list[str]:
    """The files among a session's that hold a clip: by their usual name, or as `header` names them."""
    named = {swing.clip for swing in header.swings.values()}
    kinds = (*formats(PointTableFormat), *formats(PointsFormat), *formats(FilmFormat))
    return [name for name in names if name in named or any(kind.recognises(name) for kind in kinds)]


def read_clips(context: SessionContext) -> "SessionClips":
    """Read every file of clip points and every film of a session.

    A keypoint file that is bad, or a clip that is named and missing, refuses its own swing; a bad film is
    listed. The session is refused where clip.csv or `[clip]` can't be read, a file is no swing's, or a swing
    has its points twice.
    """
    header = context.header
    files = clip_files(context.names, header)
    if files:
        context.clip()
    reading = SessionClips(context)
    for no, name in _clips_of(header, files_of(PointsFormat, files), film=False).items():
        reading.keypoints(no, name)
    for no, name in _clips_of(header, files_of(FilmFormat, files), film=True).items():
        if name in files:
            reading.film(no, name)
        else:
            reading.missing(no, name)
    return reading


class SessionClips:
    """A session's clips, read file by file: points, swings refused, films to keep or not, and notices.

    `bad_films` says what is wrong with a swing's film, which alone does not refuse the swing.
    """

    def __init__(self, context: SessionContext) -> None:
        self.context, self.header = context, context.header
        self.refused: list[Refusal] = []
        self.bad_films: list[Refusal] = []
        self.frames: list[pl.DataFrame] = [NO_POINTS]
        self.seen: set[int] = set()
        for name, kind in files_of(PointTableFormat, context.held).items():
            points, refused = kind.read(name, context)
            self.refused += refused
            self.frames.append(points.select(NO_POINTS.columns))
            self.seen |= set(points["swing_no"])
        self.films: list[Filmed] = []
        self.unread: list[Unread] = []
        self.gone = filed.films_refused(context.base) if context.filed else {}
        self.notices: list[str] = []

    @property
    def points(self) -> pl.DataFrame:
        """Rows of academy.clip_point, without session."""
        return pl.concat(self.frames).sort("swing_no", "frame", "point")

    def swapped(self) -> set[int]:
        """The swings whose tapped feet look swapped, unless somebody looked and they are not."""
        clip, handed = self.header.clip, self.context.person.handed
        if clip is None or handed is None or self.header.feet_checked:
            return set()
        parts = self.points.partition_by("swing_no", as_dict=True)
        return {no for (no,), rows in parts.items() if tapped_feet_swapped(rows, clip.view, handed)}

    def keypoints(self, no: int, name: str) -> None:
        """Read one swing's keypoint file."""
        if no in self.seen:
            what = f"swing {no} is in clip.csv and in {name}"
            raise refuse("clip_twice", what, "deliver one of the two", session=self.header.session, file=name)
        if name not in self.context.held:
            self.missing(no, name)
            return
        kind = files_of(PointsFormat, [name]).get(name, formats(PointsFormat)[0])
        try:
            self._take(no, kind.read(name, self.context))
        except Refused as found:
            if found.refusal.reason == BY_ROSTER:
                raise
            self._refuse(no, found)

    def missing(self, no: int, name: str) -> None:
        """Refuse a swing whose own clip was not delivered with it."""
        what = f"{name} is not in the session's folder"
        self._refuse(no, refuse("no_samples", what, AGAIN, file=FILE, column="clip"))

    def film(self, no: int, name: str) -> None:
        """Read one swing's film; its points are followed when no other file has them."""
        if name in self.gone:
            self.bad_films.append(self.gone[name])
            return
        kind = files_of(FilmFormat, [name])[name]
        refused = {found.swing_no: found for found in self.refused}
        try:
            if no in self.seen:
                points = pl.concat(self.frames).filter(pl.col("swing_no") == no)
                film = kind.keep(no, name, points, self.context)
            elif no in refused:
                self._drop(name, refused[no], None)
                return
            else:
                rows, film, notice = kind.read(no, name, self.context)
                self._take(no, rows)
                self.notices += [notice] if notice else []
        except Refused as found:
            refusal = of_swing(found.refusal, no, self.header.session)
            self.bad_films.append(refusal)
            self._drop(name, refusal, refusal)
            return
        self.films.append(film)

    def _take(self, no: int, rows: pl.DataFrame) -> None:
        self.frames.append(rows.select(pl.lit(no, pl.Int64).alias("swing_no"), *NO_POINTS.columns[1:]))
        self.seen.add(no)

    def _refuse(self, no: int, found: Refused) -> None:
        self.refused.append(of_swing(found.refusal, no, self.header.session))

    def _drop(self, name: str, found: Refusal, again: Refusal | None) -> None:
        """A minor's refused film is not kept either, unless a roster alone can supply what it lacks."""
        keeps = self.context.academy.keeps_film(self.header.student, self.header.day)
        if keeps or found.reason == BY_ROSTER or not (self.context.base / name).is_file():
            return
        self.unread.append(Unread(name, again))
        why = "it was refused and its player is under age, or of unknown birth date"
        self.notices.append(
            f"{name} is not kept, as {why}; once corrected it must come again with its session."
        )


def _clips_of(header: SessionHeader, names: Iterable[str], *, film: bool) -> dict[int, str]:
    """Which swing each file is: as its [[swing]] names it, clip-N of swing N, or the only swing's."""
    given = {no: swing.clip for no, swing in header.swings.items() if swing.clip is not None}
    films = files_of(FilmFormat, given.values())
    files = {no: name for no, name in given.items() if (name in films) == film}
    for name in {name for name in files.values() if list(files.values()).count(name) > 1}:
        what = f"{name} is the clip of swings {', '.join(str(no) for no in files if files[no] == name)}"
        todo = "name each swing's own file in its [[swing]] and deliver the session again"
        raise refuse("clip_twice", what, todo, session=header.session, file=FILE, column="clip")
    for name in (name for name in names if name not in files.values()):
        number = re.fullmatch(r"clip-(\d{1,6})\.\w+", name.lower())
        if number is not None and int(number[1]) in header.swings:
            files.setdefault(int(number[1]), name)
        elif name.lower().startswith("clip.") and len(header.swings) == 1:
            files.setdefault(next(iter(header.swings)), name)
        if name not in files.values():
            ending = name.rsplit(".", 1)[-1]
            what = f"{name} is not the clip of any swing"
            todo = f'name it after its swing, as in clip-1.{ending}, or add clip = "{name}" to its [[swing]]'
            raise refuse("unmatched_swing", what, todo, session=header.session, file=name)
    return files
