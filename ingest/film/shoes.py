"""How wide a shoe is in a film from the front: a scale where no stance and no millimetres a pixel are given.

About the toe's tape the shoe's colour is learned; what is nearer to it than half-way to the floor's, and
is connected with the tape, is the shoe. A shoe that is turned out shows more of itself than its width, the
more, the higher above its tip it is looked at. So it is measured low, where the ball of the foot comes into
sight behind the toe, and what the turn adds there is subtracted:

    E = extent across the picture, X = way from heel mark to toe mark across the picture, both px
    C = min(E, (E − 0.28 X) / 0.85),  width = √(C² + (X · width_mm / length_mm)²)

The ball, where a shoe is widest, is 0.28 of the length behind the toe mark, at which a shoe has 0.35 of its
width to each side: 0.85 = 0.50 + 0.35. C is the width by the cosine of the turn, which the last term undoes,
X being the length by its sine. Both numbers are those of plain lasts (common practice, no source); on drawn
shoes with square or pointed toes, turned by up to 30° and seen from 8° to 30° above, the width is within 8 %.
"""

import math
from collections.abc import Sequence
from contextlib import closing
from itertools import islice
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from ingest.film.marks import shifted, weights
from ingest.film.pictures import pictures
from ingest.film.tracks import ADDRESS_PICTURES, FLOATS, Picture, Tracks

BALL_BEHIND, TOE_AND_BALL = 0.28, 0.85
TIP_AHEAD = 0.06  # of the length: the shoe ends so far before its toe mark
AROUND = 0.5  # of the marks' spread: the part of the picture that is looked at
BESIDE, ABOVE, BELOW = 6.0, 1.5, 3.0  # of the tape's side: the window about the toe mark
RING = (0.75, 1.0)  # of the tape's side from its middle, across or down: where the shoe's colour is learned
SOFT = 0.10  # of the tape's side: smoothing, so that blades of grass are floor
LEAST_CONTRAST = 24.0  # of 255, from the shoe's colour to the floor's
LEAST_ROWS = 3.0
ROW_MATTERS = 0.06  # of the width: what one row more or less may change
FEET_AGREE = 1.15


def shoe_width_px(
    path: Path, name: str, tracks: Tracks, order: Sequence[int], width_by_length: float
) -> float | None:
    """Width of the player's shoes in a film from the front, px to 0.01; None where it can't be measured.

    `order` says which mark is lead heel, lead toe, trail heel, trail toe; `width_by_length` is of the shoe.
    It can't be measured where a shoe has no edge against the floor within some five tapes' widths, where the
    camera is too low for how far the feet are turned, or where both shoes differ by more than 15 %.
    """
    places = np.nanmean(tracks.steady[:ADDRESS_PICTURES], axis=0)[list(order)]
    with closing(pictures(path, name)) as shown:
        first = list(islice(shown, ADDRESS_PICTURES))
    picture, corner = _address(first, tracks.shakes, places)
    lead, trail = (
        _width(picture, places[heel] - corner, places[heel + 1] - corner, width_by_length) for heel in (0, 2)
    )
    if lead is None or trail is None or max(lead, trail) > FEET_AGREE * min(lead, trail):
        return None
    return round((lead + trail) / 2, 2)


def _address(first: Sequence[Picture], shakes: FLOATS, places: FLOATS) -> tuple[FLOATS, FLOATS]:
    """(H, W, 3) brightness and colours less 128 about the feet, and its upper left corner in the picture.

    It is the median of the first pictures, aligned by the camera's shake.
    """
    low, high = places.min(axis=0), places.max(axis=0)
    margin = AROUND * float(np.hypot(*(high - low)))
    left, top = (max(int(side), 0) // 2 * 2 for side in low - margin)
    right, bottom = (int(side) // 2 * 2 for side in high + margin)
    planes: list[NDArray[np.float32]] = []
    for name, part in (("y", 1), ("cb", 2), ("cr", 2)):
        near = slice(top // part, bottom // part), slice(left // part, right // part)
        aligned = [
            shifted(getattr(picture, name)[near], -shake / part)
            for picture, shake in zip(first, shakes, strict=False)
        ]
        middle = np.median(aligned, axis=0).astype(np.float32)
        planes.append(middle if part == 1 else cv2.resize(middle, planes[0].shape[::-1]) - 128.0)
    return np.stack(planes, axis=2).astype(np.float64), np.array([left, top], dtype=np.float64)


def _width(picture: FLOATS, heel: FLOATS, toe: FLOATS, width_by_length: float) -> float | None:
    """Width of one shoe, px, from the picture of address; None where it can't be measured."""
    across, down = np.abs(toe - heel)
    tape, side = _tape(picture, toe)
    if side < LEAST_ROWS:
        return None
    left, right = (round(toe[0] + way * BESIDE * side) for way in (-1, 1))
    top, low = round(toe[1] - ABOVE * side), round(toe[1] + BELOW * side)
    tall, wide = tape.shape
    left, right, top, low = max(left, 0), min(right, wide), max(top, 0), min(low, tall)
    shoe = _shoe(picture[top:low, left:right], tape[top:low, left:right], toe - (left, top), side)
    if shoe is None:
        return None
    columns = np.arange(shoe.shape[1])
    last, first = np.where(shoe, columns, -1).max(axis=1), np.where(shoe, columns, wide).min(axis=1)
    extents = last - first + 1.0
    full = np.flatnonzero(extents >= side / 2)  # a blade of grass attached below it is narrower
    if not full.size:
        return None
    lowest = int(full[-1])
    depth = (BALL_BEHIND + TIP_AHEAD) * down
    rows = slice(round(lowest + 1 - depth), lowest + 1)
    if depth < LEAST_ROWS or rows.start < 0 or shoe[rows][:, [0, -1]].any() or shoe[-1].any():
        return None
    extent = float(np.quantile(extents[rows], 0.9))
    if across > ROW_MATTERS * extent * down:
        return None
    seen = min(extent, (extent - BALL_BEHIND * across) / TOE_AND_BALL)
    return math.hypot(seen, across * width_by_length) if seen > 0 else None


def _tape(picture: FLOATS, toe: FLOATS) -> tuple[FLOATS, float]:
    """(H, W) how much of each pixel is tape, and the side of the toe's piece of it, px (0: not there)."""
    x, y = _pixel(toe, picture)
    colour = np.median(picture[max(y - 1, 0) : y + 2, max(x - 1, 0) : x + 2, 1:], axis=(0, 1))
    if np.hypot(*colour) < 1.0:
        return np.zeros(picture.shape[:2]), 0.0
    cb, cr = (np.clip(picture[..., n] + 128, 0, 255).astype(np.uint8) for n in (1, 2))
    tape = weights(cb, cr, colour)
    _, labels = cv2.connectedComponents((tape > 0.5).astype(np.uint8), connectivity=4)
    mark = labels[y, x]
    return tape, math.sqrt(float((labels == mark).sum())) if mark else 0.0


def _shoe(window: FLOATS, tape: FLOATS, toe: FLOATS, side: float) -> NDArray[np.bool_] | None:
    """(h, w) the shoe about its toe mark in the window; None where it has no edge in it."""
    soft = cv2.GaussianBlur(window, (0, 0), max(SOFT * side, 0.5))
    rows, columns = np.ogrid[: window.shape[0], : window.shape[1]]
    far = np.maximum(np.abs(columns - toe[0]), np.abs(rows - toe[1])) / side
    ring = (far >= RING[0]) & (far <= RING[1]) & (tape < 0.1)
    edge = max(round(side / 2), 1)
    if not ring.any():
        return None
    off = np.sqrt(((soft - np.median(soft[ring], axis=0)) ** 2).sum(axis=2))
    floor = float(np.median(np.hstack([off[:, :edge], off[:, -edge:]])))
    if floor < max(LEAST_CONTRAST, 3 * float(np.median(off[ring]))):
        return None
    near = ((off < floor / 2) | (tape > 0.3)).astype(np.uint8)
    brush = np.ones((2 * round(side / 8) + 1,) * 2, np.uint8)
    near = cv2.morphologyEx(cv2.morphologyEx(near, cv2.MORPH_CLOSE, brush), cv2.MORPH_OPEN, brush)
    _, labels = cv2.connectedComponents(near, connectivity=4)
    x, y = _pixel(toe, window)
    mark = labels[y, x]
    return labels == mark if mark else None


def _pixel(place: FLOATS, picture: FLOATS) -> tuple[int, int]:
    """Column and row of the pixel that holds a place."""
    tall, wide = picture.shape[:2]
    return min(max(round(float(place[0])), 0), wide - 1), min(max(round(float(place[1])), 0), tall - 1)
