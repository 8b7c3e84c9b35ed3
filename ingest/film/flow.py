"""Optical flow of a few points between two pictures: pyramidal Lucas–Kanade, by OpenCV."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

FLOATS = NDArray[np.float64]
WINDOW, LEVELS, STEPS = (15, 15), 3, (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 12, 0.03)

# Films are followed on several threads at once already, one a delivery.
cv2.setNumThreads(1)


def flow(
    before: NDArray[np.uint8], after: NDArray[np.uint8], places: FLOATS, guess: FLOATS
) -> tuple[FLOATS, NDArray[np.bool_]]:
    """Where points of one picture are in another.

    Args:
        before: (H, W) brightness of the one, `after` of the other.
        after: the other.
        places: (N, 2) px, x and y, in the one.
        guess: (N, 2) px where to begin looking in the other.

    Returns:
        (N, 2) px in the other, and (N,) whether the point was found.
    """
    start, ahead = (
        np.ascontiguousarray(some, dtype=np.float32).reshape(-1, 1, 2) for some in (places, guess)
    )
    how: dict[str, Any] = {"winSize": WINDOW, "maxLevel": LEVELS, "criteria": STEPS}
    there, good, _ = cv2.calcOpticalFlowPyrLK(
        before, after, start, ahead.copy(), flags=cv2.OPTFLOW_USE_INITIAL_FLOW, **how
    )
    return there[:, 0].astype(np.float64), good[:, 0] == 1
