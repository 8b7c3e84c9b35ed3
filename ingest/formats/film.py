"""Films (`clip.mp4`, `clip-N.mp4`, …): taped heels and toes followed, as rows of clip.csv.

A filed film is not followed again: its tracks stand beside it. Where clip.csv or a keypoint file has the
points of a swing, they count, and the film is only kept to be seen.
"""

from dataclasses import replace
from datetime import UTC, timedelta

import polars as pl

from ingest.academy import Academy
from ingest.film.following import follow_film
from ingest.film.pictures import first_picture, head_of, taken_by
from ingest.film.points import SAME_RATE, name_points, read_tracks, tracks_of_points
from ingest.film.shoes import shoe_width_px
from ingest.film.tracks import Filmed, Tracks
from ingest.filmplace import FilmPlace
from ingest.refusals import refuse
from ingest.session_file import ClipSettings, SessionHeader
from warehouse.filed import kept_tracks

EARLIER = timedelta(hours=12)  # than its session a film may say it is: some clocks are off by a time zone
NO_HAND = "whose toes point which way depends on the hand, and people.csv does not say which {} plays with"


def read_film(
    no: int, name: str, header: SessionHeader, clip: ClipSettings, academy: Academy, place: FilmPlace
) -> tuple[pl.DataFrame, Filmed, str | None]:
    """Rows frame, point, x_px, y_px, score of one swing's film, what to keep of it, and what is to be said.

    Raises
        Refused: the film can't be read or followed, is of an earlier day, or the student's hand is not known.
    """
    handed = academy.people[header.student].handed
    if handed is None:
        todo = "fill in handed for them and deliver people.csv and the session again"
        raise refuse("no_handedness", NO_HAND.format(header.student), todo, file=name)
    named = name_points(
        tracks := _tracks(no, name, header, academy, place), clip.fps, clip.view, handed, name
    )
    if clip.view == "face_on" and clip.shoe_width_mm is not None and not _is_kept(no, place):
        shape = clip.shoe_width_mm / clip.shoe_length_mm
        width = shoe_width_px(place.base / name, name, tracks, named.order, shape)
        tracks = replace(tracks, shoe_width_px=width)
    whole = academy.keeps_film(header.student, header.day)
    film = Filmed(no, name, place.base / name, tracks, named.order, named.slower, whole)
    said = None
    if named.slower > 1.0:
        how = f"plays {named.slower:.3g} times slower than it was filmed (fps = {clip.fps:g})"
        said = f"{name} {how}; its times were shortened."
    return named.rows(), film, said


def film_beside(
    no: int,
    name: str,
    points: pl.DataFrame,
    header: SessionHeader,
    clip: ClipSettings,
    academy: Academy,
    place: FilmPlace,
) -> Filmed:
    """What to keep of a film whose points came in a file of their own.

    Raises
        Refused: no film can be read from it, or it is of an earlier day.
    """
    path = place.base / name
    if place.filed and not path.exists():
        tracks, slower = _tracks(no, name, header, academy, place), 1.0
    else:
        if not _is_kept(no, place):
            _check_day(name, header, academy, place)
        head = head_of(path, name)
        slower = max(clip.fps / head.rate, 1.0) if head.rate else 1.0
        slower = slower if slower > SAME_RATE else 1.0
        tall, wide = first_picture(path, name).y.shape
        tracks = tracks_of_points(points, clip.fps, slower, (wide, tall))
    whole = academy.keeps_film(header.student, header.day)
    return Filmed(no, name, path, tracks, (0, 1, 2, 3), slower, whole)


def _is_kept(no: int, place: FilmPlace) -> bool:
    """Whether a swing's tracks stand beside its film, and what was measured of it with them."""
    return place.filed and kept_tracks(place.base, no).is_file()


def _check_day(name: str, header: SessionHeader, academy: Academy, place: FilmPlace) -> None:
    """Refuse a film that was taken well before its session; one that was filed has passed already."""
    taken = taken_by(place.base / name)
    if taken is None or header.started_at - taken <= EARLIER:
        return
    told, began = (
        f"{at.replace(tzinfo=UTC).astimezone(academy.settings.zone):%Y-%m-%d %H:%M}"
        for at in (taken, header.started_at)
    )
    what = (
        f"its head says that it was taken by {told}, but the session began at {began}, and its films are "
        f"taken at most {EARLIER // timedelta(hours=1)} h before"
    )
    todo = (
        "put this swing's own film there, correct started_at or, where the camera's clock was wrong, save "
        "the film once more, and deliver the session again"
    )
    raise refuse("other_day", what, todo, file=name)


def _tracks(no: int, name: str, header: SessionHeader, academy: Academy, place: FilmPlace) -> Tracks:
    if _is_kept(no, place):
        return read_tracks(kept_tracks(place.base, no).read_bytes())
    if not (place.base / name).is_file():
        todo = "correct the name in session.toml, or add the film, and deliver the session again"
        raise refuse(
            "no_samples", f"{name} is not in the session's folder", todo, file="session.toml", column="clip"
        )
    _check_day(name, header, academy, place)

    def tell(seconds: float) -> None:
        if place.tell is not None:
            place.tell(f"{name} {seconds:.1f} s")

    return follow_film(place.base / name, name, tell)
