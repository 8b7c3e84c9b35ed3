"""How far the camera has moved since its first picture: a phone in the hand is never still.

Some forty corners of the floor about the feet are found again in each picture by optical flow from the
first one; the camera's shift is the median of theirs. The feet cover few of them, and what moves behind the
player lies above the floor.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from ingest.film.flow import flow

FLOATS = NDArray[np.float64]
CORNERS, FEWEST, APART_PX = 40, 10, 9
AGREE_PX = 1.0


class Shake:
    """The shift of each picture against the first."""

    def __init__(self, grey: NDArray[np.uint8], free: NDArray[np.uint8]) -> None:
        """Choose corners in the first picture where `free` (same shape) is 1."""
        found = cv2.goodFeaturesToTrack(grey, CORNERS, 0.02, APART_PX, mask=free, blockSize=7)
        self._start = np.empty((0, 2)) if found is None else found[:, 0].astype(np.float64)
        self._first = grey
        self.shift = np.zeros(2)

    def take(self, grey: NDArray[np.uint8]) -> FLOATS:
        """(2,) px by which the floor lies off the first picture's; the last one when too little agrees."""
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
