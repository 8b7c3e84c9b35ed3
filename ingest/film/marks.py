"""The four taped marks at the start of a film: their colour is learned, not given.

The first still pictures are aligned by the floor, and the median of each colour plane is
taken, so that what moves behind the player drops out. In it, for one hue after another, the patches of full
colour are found; four of one hue, alike in colour and size and lying as two feet could, may be the tape.

Colour is (Cb − 128, Cr − 128); its length is how full the colour is, its direction the hue (ITU-R BT.601).
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ingest.film.tracks import FLOATS, Picture, pairings

STILL_S, FEWEST_PICTURES, MOST_PICTURES = 0.25, 5, 15
LEAST_FULL = 26.0  # length of a colour that can be tape; grass and skin reach some 30, bright tape 60
HUES, HUE_HALF = 24, math.radians(20.0)
LEAST_PATCH, MOST_PATCH = 6, 0.01  # pixels of a colour plane, and share of it
MOST_CANDIDATES = 8
WORST_LIKENESS, MOST_TRIED = 1.6, 4
WINDOW, LEVELS, STEPS = (15, 15), 3, (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 12, 0.03)
CORNERS, FEWEST, APART_PX = 40, 10, 9
AGREE_PX = 1.0

# Films are followed on several threads at once already, one a delivery.
cv2.setNumThreads(1)


@dataclass(frozen=True)
class Marks:
    """The tape: its colour (Cb, Cr) less 128, four places (4, 2) in px of the picture, and their areas."""

    colour: FLOATS
    places: FLOATS
    areas: FLOATS  # (4,) px² of the picture


@dataclass(frozen=True)
class _Patch:
    place: FLOATS
    area: float
    colour: FLOATS


def weights(cb: NDArray[np.uint8], cr: NDArray[np.uint8], colour: FLOATS) -> FLOATS:
    """How much of each pixel is tape, 0…1: its colour's part along the tape's, little of it across.

    Smearing mixes the tape's colour with what is behind it, and the part along falls in proportion; below
    0.3 it may be anything.
    """
    full = float(np.hypot(*colour))
    u, v = colour / full
    b, r = cb.astype(np.float32) - 128.0, cr.astype(np.float32) - 128.0
    along, across = (b * u + r * v) / full, np.abs(r * u - b * v) / full
    found = np.clip((along - 0.3) / 0.6, 0.0, 1.0) * np.clip(2.0 - across / 0.25, 0.0, 1.0)
    return np.asarray(found, dtype=np.float64)


def find_marks(first: Sequence[Picture]) -> list[Marks]:
    """What may be the four marks in the first still pictures of a film, the likeliest of each hue first."""
    cb, cr = _still(first)
    full, hue = np.hypot(cb, cr), np.arctan2(cr, cb)
    best: dict[float, tuple[_Patch, ...]] = {}
    for middle in np.arange(HUES) * 2 * math.pi / HUES - math.pi:
        off = np.abs((hue - middle + math.pi) % (2 * math.pi) - math.pi)
        mask = ((full >= LEAST_FULL) & (off <= HUE_HALF)).astype(np.uint8)
        if mask.sum() < 4 * LEAST_PATCH:
            continue
        found = _patches(mask, cb, cr)
        fours = {_unlikeness(four): four for four in itertools.combinations(found, 4)}
        if fours and min(fours) < WORST_LIKENESS:
            best[min(fours)] = fours[min(fours)]
    return [_exact(best[cost], cb, cr) for cost in sorted(best)[:MOST_TRIED]]


def _still(first: Sequence[Picture]) -> tuple[FLOATS, FLOATS]:
    """Median colour planes, less 128, of pictures aligned with the first one by their lower part."""
    free = np.zeros(first[0].y.shape, dtype=np.uint8)
    free[int(0.4 * len(free)) :] = 1
    shake = Shake(first[0].y, free)
    shifts = [shake.take(picture.y) / 2 for picture in first]
    pairs = list(zip(first, shifts, strict=True))
    cb = np.median([shifted(picture.cb, -shift) for picture, shift in pairs], axis=0)
    cr = np.median([shifted(picture.cr, -shift) for picture, shift in pairs], axis=0)
    return cb - 128.0, cr - 128.0


def shifted(plane: NDArray[np.uint8], shift: FLOATS) -> NDArray[np.uint8]:
    """A plane moved by (2,) px right and down; its edge is drawn out where nothing was."""
    tall, wide = plane.shape
    move = np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]])
    return np.asarray(cv2.warpAffine(plane, move, (wide, tall), borderMode=cv2.BORDER_REPLICATE))


def _patches(mask: NDArray[np.uint8], cb: FLOATS, cr: FLOATS) -> list[_Patch]:
    """Compact patches of a mask, the fullest in colour first."""
    count, labels, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=4)
    found = []
    for n in range(1, count):
        left, top, wide, tall, area = (int(value) for value in stats[n])
        compact = area >= 0.35 * wide * tall and max(wide, tall) <= 5 * min(wide, tall)
        if LEAST_PATCH <= area <= MOST_PATCH * mask.size and compact:
            inside = labels[top : top + tall, left : left + wide] == n
            at = (slice(top, top + tall), slice(left, left + wide))
            colour = np.array([np.median(cb[at][inside]), np.median(cr[at][inside])])
            found.append(_Patch(np.asarray(centres[n]), float(area), colour))
    found.sort(key=lambda patch: -float(np.hypot(*patch.colour)) * min(patch.area, 60.0))
    return found[:MOST_CANDIDATES]


def _unlikeness(four: Sequence[_Patch]) -> float:
    """How little four patches are one tape on two feet; 0 is best.

    Logarithm of sizes and difference of colours, less for fuller colour, and the unlikeness of two feet.
    """
    sizes = np.log([patch.area for patch in four])
    colours = np.array([patch.colour for patch in four])
    full = float(np.hypot(*colours.mean(axis=0)))
    spread = float(np.hypot(*colours.std(axis=0))) / full
    feet = min(cost for cost, _ in pairings(np.array([patch.place for patch in four])))
    return float(0.5 * np.ptp(sizes)) + 4.0 * spread + feet + 20.0 / full


def _exact(four: Sequence[_Patch], cb: FLOATS, cr: FLOATS) -> Marks:
    """The marks' common colour, and their places and areas weighed by it."""
    colour = np.mean([patch.colour for patch in four], axis=0)
    planes = [np.clip(plane + 128.0, 0, 255).astype(np.uint8) for plane in (cb, cr)]
    weight = weights(planes[0], planes[1], colour)
    places, areas = np.empty((4, 2)), np.empty(4)
    for n, patch in enumerate(four):
        half = 1.2 * math.sqrt(patch.area) + 2
        mass, place = centre(weight, patch.place, half)
        places[n], areas[n] = to_picture(place), 4.0 * mass
    return Marks(colour, places, areas)


def centre(weight: FLOATS, near: FLOATS, half: float) -> tuple[float, FLOATS]:
    """Weight in a square of half a side about a place, and its centre (the place when there is none)."""
    tall, wide = weight.shape
    left, right = max(int(near[0] - half), 0), min(int(near[0] + half) + 2, wide)
    top, low = max(int(near[1] - half), 0), min(int(near[1] + half) + 2, tall)
    part = weight[top:low, left:right]
    mass = float(part.sum())
    if mass <= 0.0:
        return 0.0, near
    x = float(part.sum(axis=0) @ np.arange(left, right)) / mass
    y = float(part.sum(axis=1) @ np.arange(top, low)) / mass
    return mass, np.array([x, y])


def to_picture(place: FLOATS) -> FLOATS:
    """A colour plane's place in px of the picture: a colour pixel covers two by two of them."""
    return 2.0 * place + 0.5


def to_plane(place: FLOATS) -> FLOATS:
    """The other way."""
    return (place - 0.5) / 2.0


def flow(
    before: NDArray[np.uint8], after: NDArray[np.uint8], places: FLOATS, guess: FLOATS
) -> tuple[FLOATS, NDArray[np.bool_]]:
    """Where points (N, 2) px of the picture `before` (H, W) are in `after`, and (N,) whether they were found.

    `guess` (N, 2) px is where to begin looking.
    """
    start, ahead = (np.array(some, dtype=np.float32, order="C").reshape(-1, 1, 2) for some in (places, guess))
    how: dict[str, Any] = {"winSize": WINDOW, "maxLevel": LEVELS, "criteria": STEPS}
    how["flags"] = cv2.OPTFLOW_USE_INITIAL_FLOW
    there, good, _ = cv2.calcOpticalFlowPyrLK(before, after, start, ahead, **how)
    return there[:, 0].astype(np.float64), good[:, 0] == 1


class Shake:
    """How far the camera has moved since its first picture: a phone in the hand is never still.

    Some forty corners of the floor about the feet are found again in each picture by optical flow from the
    first one; the camera's shift is the median of theirs. The feet cover few of them, and what moves behind
    the player is above the floor.
    """

    def __init__(self, grey: NDArray[np.uint8], free: NDArray[np.uint8]) -> None:
        """Choose corners in the first picture where `free` (same shape) is 1."""
        found = cv2.goodFeaturesToTrack(grey, CORNERS, 0.02, APART_PX, mask=free, blockSize=7)
        self._start = np.empty((0, 2)) if found is None else found[:, 0].astype(np.float64)
        self._first = grey
        self.shift = np.zeros(2)

    def take(self, grey: NDArray[np.uint8]) -> FLOATS:
        """(2,) px by which the floor is off the first picture's; the last one when too little agrees."""
        if len(self._start) < FEWEST:
            return self.shift
        there, good = flow(self._first, grey, self._start, self._start + self.shift)
        moved = (there - self._start)[good]
        if len(moved) >= FEWEST:
            middle = np.median(moved, axis=0)
            agree = np.abs(moved - middle).max(axis=1) <= AGREE_PX
            if agree.sum() >= max(FEWEST, 0.4 * len(moved)):
                self.shift = moved[agree].mean(axis=0)
        return self.shift
