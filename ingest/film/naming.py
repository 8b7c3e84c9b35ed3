"""Which mark is which: heel and toe of the lead and trail foot, by where they stand at address.

From behind the player, down the line, the trail foot is the nearer, so it stands lower in the picture; a
right-hander's toes point to the right. From the front, the player's left foot is on the picture's right, and
the toes, nearer to the camera, stand lower; where they hardly do, they point outward.
"""

import numpy as np
from numpy.typing import NDArray

from ingest.film.marks import pairings

FLOATS = NDArray[np.float64]
NAMES = ("lead_heel", "lead_toe", "trail_heel", "trail_toe")
LOWER = 0.2  # of the foot's length in the picture


def name_marks(places: FLOATS, view: str, handed: str) -> tuple[int, int, int, int]:
    """The marks in the order of NAMES.

    Args:
        places: (4, 2) px at address; rows of the picture count downward.
        view: face_on or down_line.
        handed: right or left.
    """
    feet = _down_line(places, handed) if view == "down_line" else _face_on(places, handed)
    (lead_heel, lead_toe), (trail_heel, trail_toe) = feet
    return lead_heel, lead_toe, trail_heel, trail_toe


def _down_line(places: FLOATS, handed: str) -> list[tuple[int, int]]:
    """Lead and trail foot, each heel and toe: a foot lies along the picture's rows."""
    steep = {pair: sum(_steepness(places, *foot) for foot in pair) for _, pair in pairings(places)}
    pair = min(pairings(places), key=lambda found: found[0] + steep[found[1]])[1]
    toes_right = 1.0 if handed == "right" else -1.0
    feet = [tuple(sorted(foot, key=lambda mark: toes_right * places[mark, 0])) for foot in pair]
    feet.sort(key=lambda foot: places[list(foot), 1].mean())
    return [(foot[0], foot[1]) for foot in feet]


def _steepness(places: FLOATS, one: int, two: int) -> float:
    across, down = np.abs(places[one] - places[two])
    return float(down / max(np.hypot(across, down), 1e-9))


def _face_on(places: FLOATS, handed: str) -> list[tuple[int, int]]:
    """Lead and trail foot, each heel and toe: the feet stand side by side."""
    order = np.argsort(places[:, 0], kind="stable")
    middle = float(places[:, 0].mean())
    feet = []
    for foot in (order[2:], order[:2]):  # the player's left foot first
        one, two = (int(mark) for mark in foot)
        long = float(np.hypot(*(places[one] - places[two])))
        down = float(places[two, 1] - places[one, 1])
        out = abs(float(places[two, 0]) - middle) - abs(float(places[one, 0]) - middle)
        toe_is_two = down > 0 if abs(down) > LOWER * long else out > 0
        feet.append((one, two) if toe_is_two else (two, one))
    return feet if handed == "right" else feet[::-1]
