"""A film's pictures by presentation time: brightness at full size, colour at half size.

Phones film at a rate that wanders, so a picture's time is what the file says of it and never its number.
H.264 and its kin store brightness (Y) for each pixel and colour (Cb, Cr) for every two by two (4:2:0);
taking the planes as they are spares every conversion.
"""

from collections.abc import Generator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import av
import numpy as np

from ingest.film.tracks import BYTES, Picture
from ingest.refusals import refuse

LEAST_SIDE, MOST_SIDE = 120, 4096
MOST_FRAMES, MOST_SECONDS = 15_000, 120.0
CAPTURED = "com.android.capture.fps"
FASTEST_FPS = 2000.0
FIRST_SET_YEAR = 2000  # clocks that were never set say 1904 or 1970
_UNREADABLE = "film it again, or save it again as H.264 in an mp4 file, and deliver the session again"


def pictures(path: Path, name: str) -> Generator[Picture]:
    """The pictures of a film in the order they are shown, turned upright.

    Pictures without a time, or not later than the one before, are skipped.

    Raises
        Refused: no film can be read from it, it is too small or large a picture, or too long.
    """
    try:
        with av.open(str(path), mode="r") as film:
            if not film.streams.video:
                raise refuse("unreadable", "it holds no pictures", _UNREADABLE, file=name)
            stream = film.streams.video[0]
            width, height = stream.codec_context.width, stream.codec_context.height
            if not LEAST_SIDE <= min(width, height) <= max(width, height) <= MOST_SIDE:
                sides = f"sides of {LEAST_SIDE} to {MOST_SIDE} px are read"
                what = f"its picture is {width} × {height} px, but {sides}"
                raise refuse("unreadable", what, _UNREADABLE, file=name)
            first = last = None
            for count, frame in enumerate(film.decode(stream)):
                if frame.time is None or (last is not None and frame.time <= last):
                    continue
                first = frame.time if first is None else first
                last = frame.time
                if count >= MOST_FRAMES or last - first > MOST_SECONDS:
                    what = f"it runs over {MOST_SECONDS:g} s or {MOST_FRAMES} pictures"
                    raise refuse("too_large", what, "cut it to the swing and deliver it again", file=name)
                yield _picture(frame, last - first)
    except (av.error.FFmpegError, ValueError) as error:
        what = f"no film can be read from it ({type(error).__name__})"
        raise refuse("unreadable", what, _UNREADABLE, file=name) from error


def first_picture(path: Path, name: str) -> Picture:
    """The first picture of a film, turned upright.

    Raises
        Refused: as `pictures`, or there is none.
    """
    with closing(pictures(path, name)) as shown:
        for picture in shown:
            return picture
    raise refuse("unreadable", "no picture can be read from it", _UNREADABLE, file=name)


def first_shown_s(path: Path) -> float | None:
    """When a film's first picture is shown, on the file's own clock; None without one."""
    with av.open(str(path), mode="r") as film:
        if not film.streams.video:
            return None
        return next((frame.time for frame in film.decode(video=0) if frame.time is not None), None)


class Head(NamedTuple):
    """What a film's head says: pictures a second as it plays, and how many (0: not stated)."""

    rate: float
    pictures: int


def head_of(path: Path, name: str) -> Head:
    """Read a film's head.

    Raises
        Refused: no film can be read from it.
    """
    try:
        with av.open(str(path), mode="r") as film:
            stream = film.streams.video[0]
            return Head(float(stream.average_rate or 0.0), stream.frames)
    except (av.error.FFmpegError, ValueError, IndexError) as error:
        raise refuse("unreadable", "no film can be read from it", _UNREADABLE, file=name) from error


def taken_by(path: Path) -> datetime | None:
    """The time by which a film was taken, as its head says (`creation_time`), UTC without an offset.

    Copying or saving a film again may move that time later, never earlier. None where the file says none, an
    unset clock's (before 2000), or can't be read.
    """
    try:
        with av.open(str(path), mode="r") as film:
            taken = datetime.fromisoformat(film.metadata.get("creation_time", ""))
            taken = taken.astimezone(UTC).replace(tzinfo=None) if taken.tzinfo else taken
    except (av.error.FFmpegError, ValueError, OverflowError):
        return None
    return taken if taken.year >= FIRST_SET_YEAR else None


def captured_rate(path: Path) -> float | None:
    """Pictures a second at which a film was taken, as phones write it beside the rate at which it plays.

    Android's MediaFormat.KEY_CAPTURE_RATE: where the two differ, the film plays in slow motion. None where
    the head has no such key or can't be read.
    """
    try:
        with av.open(str(path), mode="r") as film:
            rate = float(film.metadata.get(CAPTURED, "nan"))
    except (av.error.FFmpegError, ValueError):
        return None
    return rate if 1.0 <= rate <= FASTEST_FPS else None


def _picture(frame: av.VideoFrame, t_s: float) -> Picture:
    planes = frame if frame.format.name in ("yuv420p", "yuvj420p") else frame.reformat(format="yuv420p")
    half = ((frame.width + 1) // 2, (frame.height + 1) // 2)
    sizes = ((frame.width, frame.height), half, half)
    arrays = [_plane(plane, *size) for plane, size in zip(planes.planes, sizes, strict=True)]
    turns = round((getattr(frame, "rotation", 0) or 0) / 90) % 4
    if turns:
        arrays = [np.ascontiguousarray(np.rot90(plane, turns)) for plane in arrays]
    return Picture(t_s, *arrays)


def _plane(plane: av.video.plane.VideoPlane, width: int, height: int) -> BYTES:
    """A plane's pixels without the padding at the end of its lines; the decoder may use its memory again."""
    lines = np.frombuffer(plane, dtype=np.uint8).reshape(-1, plane.line_size)
    return lines[:height, :width].copy()
