"""Films (`clip.mp4`, `clip-N.mp4`, …): taped heels and toes followed, as rows of clip.csv.

A filed film is not followed again: its tracks are beside it. Where clip.csv or a keypoint file has the
points of a swing, they count, and the film is only kept to be seen.
"""

import json
from dataclasses import replace
from datetime import UTC, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from ingest.film.tracks import Filmed, Outline, Tracks
from ingest.formats.explanation import Explanation, Knowing
from ingest.formats.format import FilmFormat, SessionContext
from ingest.refusals import refuse
from warehouse.filed import kept_outlines, kept_tracks
from warehouse.vocabulary import EVENTS, FEET, FILM_ENDINGS, POINTS, SHOE_OVER_FOOT_MM

# Video and computer vision are slow to import, so each method imports what it needs of `ingest.film`.
EARLIER = timedelta(hours=12)  # than its session a film may say it is: some clocks are off by a time zone
NO_HAND = "the way the toes point depends on the hand, and "


class Film(FilmFormat):
    """A film of one swing, with tape on heels and toes."""

    title = "A film of one swing, to be followed by the tape on heels and toes"
    names = tuple(f"*{ending}" for ending in FILM_ENDINGS)

    def read(self, no: int, name: str, context: SessionContext) -> tuple[pl.DataFrame, Filmed, str | None]:
        """Follow a swing's film, or take its tracks where it was followed before."""
        from ingest.film.points import name_points  # noqa: PLC0415
        from ingest.film.shoes import shoe_width_px  # noqa: PLC0415

        clip, handed = context.clip(), context.hand(name, NO_HAND)
        tracks = _tracks(no, name, context)
        named = name_points(tracks, clip.fps, clip.view, handed, name)
        if (
            clip.view == "face_on"
            and clip.shoe_width_mm
            and clip.shoe_length_mm
            and not _is_kept(no, context)
        ):
            shape = clip.shoe_width_mm / clip.shoe_length_mm
            width = shoe_width_px(context.base / name, name, tracks, named.order, shape)
            tracks = replace(tracks, shoe_width_px=width)
        film = Filmed(no, name, context.base / name, tracks, named.order, named.slower, _whole(context))
        notice = None
        if named.slower > 1.0:
            how = f"plays {named.slower:.3g} times slower than it was filmed (fps = {clip.fps:g})"
            notice = f"{name} {how}; its times were shortened."
        return named.rows(), film, notice

    def keep(self, no: int, name: str, points: pl.DataFrame, context: SessionContext) -> Filmed:
        """What to keep of a film whose points came in a file of their own."""
        from ingest.film.pictures import first_picture, head_of  # noqa: PLC0415
        from ingest.film.points import SAME_RATE, tracks_of_points  # noqa: PLC0415

        clip, path = context.clip(), context.base / name
        if context.filed and not path.exists():
            tracks, slower = _tracks(no, name, context), 1.0
        else:
            if not _is_kept(no, context):
                _check_day(name, context)
            head = head_of(path, name)
            slower = max(clip.fps / head.rate, 1.0) if head.rate else 1.0
            slower = slower if slower > SAME_RATE else 1.0
            tall, wide = first_picture(path, name).y.shape
            tracks = tracks_of_points(points, clip.fps, slower, (wide, tall))
            film = _tracks(no, name, context) if _is_kept(no, context) else _with_head(tracks, path)
            heard, taken, captured = film.clicks_s, film.taken_at, film.captured_fps
            tracks = replace(tracks, clicks_s=heard, taken_at=taken, captured_fps=captured)
        outlines = _outlines(no, name, points, slower, context)
        return Filmed(no, name, path, tracks, (0, 1, 2, 3), slower, _whole(context), outlines)

    def explain(self, path: Path, knowing: Knowing) -> Explanation:  # noqa: ARG002 - no device writes it
        """Size, rate and length by the film's head; its marks are not followed."""
        from ingest.film.pictures import captured_rate, first_picture, head_of, taken_by  # noqa: PLC0415

        found = Explanation(path.name, self.title)
        head = head_of(path, path.name)
        tall, wide = first_picture(path, path.name).y.shape
        found.facts["picture"] = f"{wide} × {tall} px"
        found.facts["rate"] = f"{head.rate:.4g} pictures a second as it plays" if head.rate else "not stated"
        if captured := captured_rate(path):
            found.facts["filmed at"] = f"{captured:.4g} pictures a second"
        if head.rate and head.pictures:
            found.facts["length"] = f"{head.pictures / head.rate:.2f} s, {head.pictures} pictures"
        taken = taken_by(path)
        found.facts["taken by"] = f"{taken:%Y-%m-%d %H:%M} UTC" if taken else "not stated"
        found.facts["its marks"] = f"underfoot film {path.name} --preview shows how they are followed"
        return found


def _whole(context: SessionContext) -> bool:
    """Whether the student's films are kept as they were delivered."""
    return context.academy.keeps_film(context.header.student, context.header.day)


def _is_kept(no: int, context: SessionContext) -> bool:
    """Whether a swing's tracks are beside its film, and what was measured of it with them."""
    return context.filed and kept_tracks(context.base, no).is_file()


def _outlines(
    no: int, name: str, points: pl.DataFrame, slower: float, context: SessionContext
) -> tuple[Outline, ...]:
    """The shoes of a film without tape, followed from heels and toes tapped in one of its pictures.

    None where the points are more than a person taps: then something else has followed them. A filed film is
    not followed again.
    """
    if _is_kept(no, context):
        kept = kept_outlines(context.base, no)
        rows = json.loads(kept.read_text()) if kept.is_file() else []
        return tuple(
            Outline(row["foot"], tuple(row["times_s"]), tuple(row["rises_mm"]), row["refused"])
            for row in rows
        )
    tapped = points.filter(pl.len().over("frame") == len(POINTS)).sort("frame")
    if tapped.is_empty() or points["frame"].n_unique() > len(EVENTS):
        return ()
    clip, foot_mm = context.clip(), context.person.foot_length_mm
    shoe_mm = clip.shoe_length_mm or (foot_mm and foot_mm + SHOE_OVER_FOOT_MM)
    if clip.view != "down_line" or not shoe_mm:
        why = "no_scale" if clip.view == "down_line" else "from_front"
        return tuple(Outline(foot, refused=why) for foot in FEET)
    from ingest.film.outline import follow_outlines  # noqa: PLC0415

    first = tapped.filter(pl.col("frame") == tapped["frame"][0])
    at = {point: (x, y) for point, x, y in first.select("point", "x_px", "y_px").iter_rows()}
    heels, toes = (np.array([at[f"{foot}_{part}"] for foot in FEET]) for part in ("heel", "toe"))
    address_s = first["frame"][0] / clip.fps * slower
    return tuple(follow_outlines(context.base / name, name, heels, toes, shoe_mm, address_s))


def _check_day(name: str, context: SessionContext) -> None:
    """Refuse a film that was taken well before its session; one that was filed has passed already."""
    from ingest.film.pictures import taken_by  # noqa: PLC0415

    taken, began = taken_by(context.base / name), context.header.started_at
    if taken is None or began - taken <= EARLIER:
        return
    zone = context.academy.settings.zone
    at, start = (f"{t.replace(tzinfo=UTC).astimezone(zone):%Y-%m-%d %H:%M}" for t in (taken, began))
    what = (
        f"its head says that it was taken by {at}, but the session began at {start}, and its films are "
        f"taken at most {EARLIER // timedelta(hours=1)} h before"
    )
    todo = (
        "put this swing's own film there, correct started_at or, where the camera's clock was wrong, save "
        "the film again, and deliver the session again"
    )
    raise refuse("other_day", what, todo, file=name)


def _tracks(no: int, name: str, context: SessionContext) -> Tracks:
    """The tracks of a swing's film, followed now unless they are kept."""
    from ingest.film.following import follow_film  # noqa: PLC0415
    from ingest.film.points import read_tracks  # noqa: PLC0415

    if _is_kept(no, context):
        return read_tracks(kept_tracks(context.base, no).read_bytes())
    if not (context.base / name).is_file():
        what = f"{name} is not in the session's folder"
        todo = "correct the name in session.toml, or add the film, and deliver the session again"
        raise refuse("no_samples", what, todo, file="session.toml", column="clip")
    _check_day(name, context)

    def progress(seconds: float) -> None:
        if context.progress is not None:
            context.progress(f"{name} {seconds:.1f} s")

    return _with_head(follow_film(context.base / name, name, progress), context.base / name)


def _with_head(tracks: Tracks, path: Path) -> Tracks:
    """A film's tracks with what is heard in it, and what its head says."""
    from ingest.film.pictures import captured_rate, taken_by  # noqa: PLC0415
    from ingest.film.sound import clicks_s  # noqa: PLC0415

    return replace(tracks, clicks_s=clicks_s(path), taken_at=taken_by(path), captured_fps=captured_rate(path))
