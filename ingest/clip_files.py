"""All of a session's clips: clip.csv, a keypoint file or a film a swing, whichever there are."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatch

import polars as pl

from ingest.academy import Academy
from ingest.film.tracks import Filmed, Unread
from ingest.filmplace import FilmPlace
from ingest.formats.clip_points import NO_ROWS, Clips, clip_table, named_points, read_clip
from ingest.formats.keypoints import read_keypoints
from ingest.refusals import refuse
from ingest.session_file import SessionHeader
from warehouse import filed
from warehouse.errors import Refusal, Refused
from warehouse.vocabulary import is_film

_AGAIN = "mend it and deliver the session again"
_BY_ROSTER = "no_handedness"  # is mended by a roster, and then the session is read again from filed/
COLUMNS = ("swing_no", "frame", "point", "x_px", "y_px", "score")


@dataclass(frozen=True)
class SessionClips:
    """Rows of academy.clip_point (without session), swings refused, films to keep, and what is to be said."""

    frame: pl.DataFrame
    refused: list[Refusal]
    films: list[Filmed] = field(default_factory=list)
    unread: list[Unread] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)


def clip_files(names: Iterable[str], header: SessionHeader | None = None) -> list[str]:
    """The files among a session's that hold a clip: clip.csv, clip*.json, films, and those `header` names."""
    named = set() if header is None else {swing.clip for swing in header.swings.values()}
    return [
        name
        for name in names
        if name.lower() == "clip.csv" or fnmatch(name.lower(), "clip*.json") or is_film(name) or name in named
    ]


def read_clips(
    names: Sequence[str], held: Mapping[str, bytes], place: FilmPlace, header: SessionHeader, academy: Academy
) -> SessionClips | None:
    """Read clip.csv, every keypoint file and every film of a session; None when there is and should be none.

    A keypoint file or film that is bad, or named and missing, refuses its own swing. `names` are the
    session's files, `held` the bytes of those that are read whole, which films are not.

    Raises
        Refused: clip.csv or `[clip]` can't be taken, a file is nobody's, or a swing has its points twice.
    """
    files = clip_files(names, header)
    if not files and all(swing.clip is None for swing in header.swings.values()):
        return None
    if files:
        clip_table(header)
    reading = _Reading(held, place, header, academy)
    keypoints = _swings_of(header, [name for name in files if name.lower().endswith(".json")], film=False)
    for no, name in keypoints.items():
        reading.keypoints(no, name)
    for no, name in _swings_of(header, [name for name in files if is_film(name)], film=True).items():
        if name in files:
            reading.film(no, name)
        else:
            reading.missing(no, name)
    return reading.all()


class _Reading:
    """A session's clips as they are read, file by file."""

    def __init__(
        self, held: Mapping[str, bytes], place: FilmPlace, header: SessionHeader, academy: Academy
    ) -> None:
        self.held, self.place, self.header, self.academy = held, place, header, academy
        table = next((name for name in held if name.lower() == "clip.csv"), None)
        first = Clips(NO_ROWS, []) if table is None else read_clip(held[table], header, academy, table)
        self.refused = list(first.refused)
        self.frames = [first.frame.select(COLUMNS)]
        self.seen = set(first.frame["swing_no"])
        self.films: list[Filmed] = []
        self.unread: list[Unread] = []
        self.gone = filed.films_refused(place.base) if place.filed else {}
        self.notices: list[str] = []

    def keypoints(self, no: int, name: str) -> None:
        """Read one swing's keypoint file."""
        if no in self.seen:
            what = f"swing {no} stands in clip.csv and in {name}"
            raise refuse("clip_twice", what, "deliver one of the two", session=self.header.session, file=name)
        if name not in self.held:
            self.missing(no, name)
            return
        try:
            rows = read_keypoints(self.held[name], name)
        except Refused as found:
            self._refuse(no, found)
            return
        self._take(no, rows.with_columns(named_points(rows, self.header, self.academy, name)))

    def missing(self, no: int, name: str) -> None:
        """Refuse a swing whose own clip did not come with it."""
        what = f"{name} is not in the session's folder"
        self._refuse(no, refuse("no_samples", what, _AGAIN, file="session.toml", column="clip"))

    def film(self, no: int, name: str) -> None:
        """Read one swing's film; its points are followed when no other file has them."""
        from ingest.formats.film import film_beside, read_film  # noqa: PLC0415 - a slow import, used here only

        if name in self.gone:
            self.refused.append(self.gone[name])
            return
        clip = clip_table(self.header)
        refused = {found.swing_no: found for found in self.refused}
        try:
            if no in self.seen:
                points = pl.concat(self.frames).filter(pl.col("swing_no") == no)
                film = film_beside(no, name, points, self.header, clip, self.academy, self.place)
            elif no in refused:
                self._drop(name, refused[no], None)
                return
            else:
                rows, film, said = read_film(no, name, self.header, clip, self.academy, self.place)
                self._take(no, rows)
                self.notices += [said] if said else []
        except Refused as found:
            told = self._refuse(no, found)
            self._drop(name, told, told)
            return
        self.films.append(film)

    def all(self) -> SessionClips:
        """Everything read."""
        good = pl.concat(self.frames).sort("swing_no", "frame", "point")
        return SessionClips(good, self.refused, self.films, self.unread, self.notices)

    def _take(self, no: int, rows: pl.DataFrame) -> None:
        self.frames.append(rows.with_columns(pl.lit(no, pl.Int64).alias("swing_no")).select(COLUMNS))
        self.seen.add(no)

    def _refuse(self, no: int, found: Refused) -> Refusal:
        told = found.refusal
        sentence = f"Swing {no} of {self.header.session}, {told.sentence}"
        told = replace(told, session=self.header.session, swing_no=no, sentence=sentence)
        self.refused.append(told)
        return told

    def _drop(self, name: str, found: Refusal, again: Refusal | None) -> None:
        """A minor's refused film is not kept either, unless a roster alone can mend what it lacks."""
        kept = self.academy.keeps_film(self.header.student, self.header.day) or found.reason == _BY_ROSTER
        if not kept and (self.place.base / name).is_file():
            self.unread.append(Unread(name, again))
            self.notices.append(
                f"{name} is not kept, as it was refused and its player is under age, or of no known birth "
                "date; once mended it must come again with its session."
            )


def _swings_of(header: SessionHeader, names: Sequence[str], *, film: bool) -> dict[int, str]:
    """Whose each file is: named by its [[swing]], clip-N of swing N, or the only swing's."""
    given = {no: swing.clip for no, swing in header.swings.items() if swing.clip is not None}
    files = {no: name for no, name in given.items() if is_film(name) == film}
    for name in {name for name in files.values() if list(files.values()).count(name) > 1}:
        what = f"{name} is the clip of swings {', '.join(str(no) for no in files if files[no] == name)}"
        todo = "name each swing's own file in its [[swing]] and deliver the session again"
        raise refuse("clip_twice", what, todo, session=header.session, file="session.toml", column="clip")
    for name in (name for name in names if name not in files.values()):
        number = re.fullmatch(r"clip-(\d{1,6})\.\w+", name.lower())
        if number is not None and int(number[1]) in header.swings:
            files.setdefault(int(number[1]), name)
        elif name.lower().startswith("clip.") and len(header.swings) == 1:
            files.setdefault(next(iter(header.swings)), name)
        if name not in files.values():
            ending = name.rsplit(".", 1)[-1]
            what = f"{name} is no swing's clip"
            todo = f'name it after its swing, as in clip-1.{ending}, or add clip = "{name}" to its [[swing]]'
            raise refuse("unmatched_swing", what, todo, session=header.session, file=name)
    return files
