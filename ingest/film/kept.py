"""The film that is kept for the coach: cut to the feet, the marks drawn in, as browsers play it.

Its times are the clip's own clock, so a slow-motion film plays at the pace of the swing. H.264 with a picture
to start from every few frames, so that a slider can stop anywhere.
"""

import json
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from ingest.film.pictures import pictures
from ingest.film.points import write_tracks
from ingest.film.tracks import ADDRESS_PICTURES, FLOATS, Filmed, Picture, Tracks, Unread
from warehouse import filed
from warehouse.home import sync, write_synced
from warehouse.vocabulary import POINTS

Colour = tuple[int, int, int]  # blue, green, red
TICK = Fraction(1, 90_000)
WIDEST_PX = 960
ABOVE, BELOW, BESIDE = 0.6, 0.3, 0.4  # of a foot's length in the picture, about all places of the marks
TRAIL_PICTURES = 24
CODECS = {"libx264": {"preset": "veryfast", "crf": "24", "tune": "zerolatency"}, "libvpx-vp9": {"crf": "34"}}
COLOURS = {"lead": (142, 92, 11), "trail": (27, 105, 199)}  # blue, green, red
PALE, DARK = (255, 255, 255), (43, 48, 34)
NAME_PX = 52  # the longest name


def write_kept(
    source: Path, name: str, tracks: Tracks, order: tuple[int, ...], slower: float, target: Path
) -> None:
    """Write the kept film of `source` to `target`.

    `order` says which mark is which of POINTS, `slower` how many times slower it plays than it was filmed.
    """
    box = feet_box(tracks)
    scale = min(1.0, WIDEST_PX / box[2])
    size = tuple(max(2, round(side * scale) // 2 * 2) for side in box[2:])
    codec = next(name for name in CODECS if name in av.codecs_available)
    trails: dict[str, deque[FLOATS]] = {heel: deque(maxlen=TRAIL_PICTURES) for heel in ("lead", "trail")}
    with av.open(str(target), "w", format="mp4", options={"movflags": "faststart"}) as output:
        stream = output.add_stream(codec, rate=60, options=CODECS[codec])
        stream.width, stream.height, stream.pix_fmt = (*size, "yuv420p")
        stream.thread_count, stream.gop_size, stream.time_base = 1, 12, TICK
        stream.codec_context.time_base = TICK
        for picture in pictures(source, name):
            n = int(np.abs(tracks.times_s - picture.t_s).argmin())
            marks = (tracks.places[n][list(order)] - box[:2]) * scale
            drawn = draw_marks(cut(picture, box, size), marks, trails)
            frame = av.VideoFrame.from_ndarray(drawn, format="bgr24")
            frame.pts, frame.time_base = round(picture.t_s / slower / TICK), TICK
            output.mux(stream.encode(frame))
        output.mux(stream.encode(None))


def feet_box(tracks: Tracks) -> tuple[int, int, int, int]:
    """Left, top, width and height (even) of the part of the picture that holds the feet at all times."""
    flat = tracks.places.reshape(-1, 2)
    low, high = np.nanmin(flat, axis=0), np.nanmax(flat, axis=0)
    first = tracks.places[:ADDRESS_PICTURES]
    long = max(float(np.nanmax(first[..., 0]) - np.nanmin(first[..., 0])) / 2, 40.0)
    left, top = max(int(low[0] - BESIDE * long), 0) // 2 * 2, max(int(low[1] - ABOVE * long), 0) // 2 * 2
    right, bottom = int(high[0] + BESIDE * long), int(high[1] + BELOW * long)
    wide, tall = tracks.size
    return left, top, (min(right, wide) - left) // 2 * 2, (min(bottom, tall) - top) // 2 * 2


def cut(picture: Picture, box: tuple[int, int, int, int], size: tuple[int, ...]) -> NDArray[np.uint8]:
    """(height, width, 3) blue, green, red of the box, brought to `size` (width, height)."""
    left, top, wide, tall = box
    halves = (slice(top // 2, (top + tall) // 2), slice(left // 2, (left + wide) // 2))
    parts = (picture.y[top : top + tall, left : left + wide], picture.cb[halves], picture.cr[halves])
    stacked = np.concatenate([part.ravel() for part in parts]).reshape(tall * 3 // 2, wide)
    drawn = cv2.cvtColor(stacked, cv2.COLOR_YUV2BGR_I420)
    if (wide, tall) != size:
        drawn = cv2.resize(drawn, size, interpolation=cv2.INTER_AREA)
    return np.asarray(drawn)


def write(
    picture: NDArray[np.uint8],
    text: str,
    at: tuple[int, int],
    colour: Colour,
    *,
    size: float = 0.45,
    bold: int = 1,
) -> None:
    """Write a text into a picture, its lower left corner `at` a place."""
    cv2.putText(picture, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, colour, bold, cv2.LINE_AA)


def draw_marks(
    drawn: NDArray[np.uint8], marks: FLOATS, trails: dict[str, deque[FLOATS]]
) -> NDArray[np.uint8]:
    """Draw the marks (4, 2) with their names, and the way each heel has come; lost marks are left out."""
    middles = {"lead": float(marks[:2, 0].mean()), "trail": float(marks[2:, 0].mean())}  # NaN with one lost
    for name, place in zip(POINTS, marks, strict=True):
        foot, part = name.split("_")
        if not np.isfinite(place).all():
            continue
        if part == "heel":
            trails[foot].append(place)
            way = np.round(np.array(trails[foot])).astype(np.int32)
            cv2.polylines(drawn, [way], False, COLOURS[foot], 2, cv2.LINE_AA)  # noqa: FBT003 - OpenCV's own
        at = (round(float(place[0])), round(float(place[1])))
        cv2.circle(drawn, at, 8, PALE, 3, cv2.LINE_AA)
        cv2.circle(drawn, at, 8, COLOURS[foot], 2, cv2.LINE_AA)
        # The names of a foot's two marks are kept away from one another, so that small feet can be read too.
        beside = at[0] - 6 if place[0] > middles[foot] else at[0] + 6 - NAME_PX
        corner = (min(max(beside, 2), drawn.shape[1] - NAME_PX), max(at[1] - 12, 12))
        for aside, down, colour in (*((x, y, DARK) for x in (-1, 1) for y in (-1, 1)), (0, 0, PALE)):
            start = (corner[0] + aside, corner[1] + down)  # a bolder letter would be wider
            write(drawn, f"{foot} {part}", start, colour, size=0.42)
    return drawn


def keep_films(folder: Path, filmed: Iterable[Filmed], unread: Sequence[Unread] = ()) -> None:
    """Write .film/ into a delivery's folder; take out what is not to be kept, once it is written down.

    The folder is on its way into filed/, or is there already and was read again with a corrected roster.
    """
    shelf = folder / filed.FILM_FOLDER
    shelf.mkdir(exist_ok=True)
    leaving = {one.name: filed.facts_of(folder / one.name) for one in unread}
    gone = filed.films_not_kept(folder) | leaving
    reasons = {name: asdict(refusal) for name, refusal in filed.films_refused(folder).items()}
    reasons |= {one.name: asdict(one.refusal) for one in unread if one.refusal is not None}
    for film in filmed:
        kept = filed.kept_film(folder, film.swing_no)
        write_kept(folder / film.name, film.name, film.tracks, film.order, film.slower, kept)
        filed.kept_tracks(folder, film.swing_no).write_bytes(write_tracks(film.tracks))
        if film.outlines:
            text = json.dumps([asdict(outline) for outline in film.outlines])
            filed.kept_outlines(folder, film.swing_no).write_text(text)
        if not film.keep_original:
            leaving[film.name] = gone[film.name] = filed.facts_of(folder / film.name)
    files = sorted(path for path in shelf.iterdir() if path.name != filed.FILM_LIST)
    for path in files:
        sync(path)
    listed = filed.film_list({path.name: filed.facts_of(path) for path in files}, gone, reasons)
    write_synced(shelf / filed.FILM_LIST, listed)
    sync(shelf)
    for name in leaving:
        (folder / name).unlink()
    sync(folder)
