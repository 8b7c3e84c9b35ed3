"""Following the four marks from picture to picture: colour says where, optical flow says which.

For each mark the flow of the picture's brightness about it (pyramidal Lucas–Kanade, OpenCV) says where to
look; there the centre of the tape's colour is its place. Where smearing has washed the colour out, the flow
alone holds the mark. A mark that shows too little of its colour is lost: it has no place in that picture, and
is searched for around its last one, ever farther out, until a patch of its colour and size is found.
"""

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from ingest.film.marks import (
    FEWEST_PICTURES,
    MOST_PICTURES,
    STILL_S,
    Marks,
    Shake,
    centre,
    find_marks,
    flow,
    to_picture,
    to_plane,
    weights,
)
from ingest.film.pictures import pictures
from ingest.film.tracks import FLOATS, Picture, Tracks
from ingest.refusals import refuse

GREY = NDArray[np.uint8]
ENOUGH, FAINT = 0.70, 0.25  # of a mark's colour: to place it by, and to believe the flow
TOO_MUCH = 1.7
FLOW_BACK_PX = 1.0  # a flow that does not lead back to where it came from is none
BY_FLOW = 0.6  # the score of a place by flow alone
LONGEST_PAUSE_S, MOST_STEPS = 0.25, 6.0  # between two pictures, and in usual steps
SEEN_LEAST = 0.5  # of the pictures, for each mark
STANDING_LEAST = 0.8  # of the first still pictures
NO_TAPE = "its first pictures show no four marks of one bright colour, as tape on heels and toes would be"
TAPE_IT = (
    "put tape of a colour that nothing else has on both heels and toes, stand still for half a second, film "
    "again and deliver the session again"
)


def follow_film(path: Path, name: str, progress: Callable[[float], None] | None = None) -> Tracks:
    """Find and follow the marks of a film.

    In each picture, and for each of the four marks: the last place, moved by the floor's shift and led by
    optical flow, is where to look; the centre of the tape's colour within 0.8 of the mark's size is its new
    place, if the colour there adds up to 70 to 170 % of the mark's and no other mark is nearer. With 25 %
    left the flow alone holds it, if it leads back within 1 px. Otherwise the mark is lost and searched for,
    1.5 colour pixels farther with every picture.

    `progress` is called with the seconds of film that are done.

    Raises
        Refused: it can't be read, shows no tape, loses a mark for half of the film, or was cut.
    """
    stream = pictures(path, name)
    first = _first_still(stream)
    follower = _standing(first)
    if follower is None:
        raise refuse("no_tape", NO_TAPE, TAPE_IT, file=name)
    times = [picture.t_s for picture in first]
    for picture in stream:
        follower.take(picture)
        times.append(picture.t_s)
        if progress is not None and len(times) % 30 == 0:
            progress(picture.t_s)
    places, scores = np.array(follower.places), np.array(follower.scores)
    seen = (scores > 0).mean(axis=0)
    if seen.min() < SEEN_LEAST:
        what = f"a mark is out of sight in {100 * (1 - seen.min()):.0f} % of its pictures"
        todo = "keep both feet in the picture, free of the grip, the bag and the ball basket, and film again"
        raise refuse("marks_lost", what, todo, file=name)
    _in_one_go(np.array(times), name)
    tall, wide = first[0].y.shape
    return Tracks(np.array(times), places, scores, np.array(follower.shakes), (wide, tall))


def _in_one_go(times_s: FLOATS, name: str) -> None:
    """Refuse a film whose pictures jump: it was paused, or cut.

    Phones leave out a few pictures in a row where light or memory fail, never a quarter of a second.
    """
    steps = np.diff(times_s)
    at = int(np.argmax(steps))
    if steps[at] > max(LONGEST_PAUSE_S, MOST_STEPS * float(np.median(steps))):
        what = f"its pictures jump by {steps[at]:.2f} s at {times_s[at]:.2f} s, so it was paused or cut"
        raise refuse("film_cut", what, "film the swing in one go, and deliver the session again", file=name)


def _first_still(stream: Iterator[Picture]) -> list[Picture]:
    """The pictures of the first quarter of a second, 5 at least and 15 at most."""
    first: list[Picture] = []
    for picture in stream:
        first.append(picture)
        if len(first) >= MOST_PICTURES or (picture.t_s >= STILL_S and len(first) >= FEWEST_PICTURES):
            break
    return first


def _standing(first: list[Picture]) -> "_Follower | None":
    """A follower through the first pictures in nearly all of which all marks are found; None without one."""
    for marks in find_marks(first) if len(first) >= FEWEST_PICTURES else ():
        follower = _Follower(marks)
        for picture in first:
            follower.take(picture)
        if (np.array(follower.scores) > 0).mean(axis=0).min() >= STANDING_LEAST:
            return follower
    return None


class _Follower:
    """The four marks as they go: last places, speeds, and how long each is lost."""

    def __init__(self, marks: Marks) -> None:
        self.colour = marks.colour
        self.places: list[FLOATS] = []
        self.scores: list[FLOATS] = []
        self.shakes: list[FLOATS] = []
        self._shake: Shake | None = None
        self._place = marks.places.copy()
        self._speed = np.zeros((4, 2))
        self._mass = marks.areas / 4.0  # of the colour planes
        self._size = np.sqrt(self._mass)
        self._lost = np.zeros(4, dtype=int)
        self._grey: GREY | None = None
        self._corner, self._region = _region(marks.places)

    def take(self, picture: Picture) -> None:
        """Place the marks in the next picture."""
        (x, y), (wide, tall) = self._corner, self._region
        grey = np.ascontiguousarray(picture.y[y : y + tall, x : x + wide])
        if self._shake is None:
            self._shake = Shake(grey, _floor(grey.shape, self._place - self._corner, self._size))
        before = self._shake.shift
        self.shakes.append(self._shake.take(grey))
        self._place = self._place + self.shakes[-1] - before  # the marks go along with the floor
        there, leads = self._flow(grey)
        score = np.zeros(4)
        found = np.full((4, 2), np.nan)
        for n in np.argsort(self._lost, kind="stable"):
            taken = [found[m] for m in range(4) if score[m] > 0]
            place, sure = self._one(int(n), picture, grey, there[n] if leads[n] else None, taken)
            if place is not None:
                found[n], score[n] = place, sure
        self._move(found, score)
        self._grey = grey
        self.places.append(found)
        self.scores.append(score)

    def _flow(self, grey: GREY) -> tuple[FLOATS, NDArray[np.bool_]]:
        """(4, 2) where the flow leads each mark, and whether it leads anywhere."""
        guess = self._place + self._speed
        if self._grey is None:
            return guess, np.zeros(4, dtype=bool)
        there, good = flow(self._grey, grey, self._place - self._corner, guess - self._corner)
        return there + self._corner, good & (self._lost == 0)

    def _leads_back(self, n: int, grey: GREY, place: FLOATS) -> bool:
        """Whether the flow from a mark's new place leads back to its old one."""
        if self._grey is None:
            return False
        here = (place - self._corner)[None]
        back, good = flow(grey, self._grey, here, here)
        return bool(good[0]) and _length(back[0] + self._corner - self._place[n]) <= FLOW_BACK_PX

    def _one(
        self, n: int, picture: Picture, grey: GREY, led: FLOATS | None, taken: list[FLOATS]
    ) -> tuple[FLOATS | None, float]:
        """The place of one mark and its score, or None and 0 when it is lost."""
        if self._lost[n]:
            return self._search(n, picture, taken)
        ahead, share, clear = self._place[n] + self._speed[n], 0.0, False
        for guess in (ahead,) if led is None else (led, ahead):
            _, place = self._look(picture, guess, 0.8 * self._size[n] + 1.5 + 0.12 * _length(self._speed[n]))
            mass, place = self._look(picture, place, 0.8 * self._size[n] + 1.5)
            share = mass / self._mass[n]
            clear = self._is_own(n, place, taken)
            if ENOUGH <= share <= TOO_MUCH and clear:
                self._mass[n] += 0.05 * (mass - self._mass[n])
                return place, min(1.0, 0.5 + 0.5 * share)
        if led is not None and share >= FAINT and clear and self._leads_back(n, grey, led):
            return led, BY_FLOW
        return None, 0.0

    def _is_own(self, n: int, place: FLOATS, taken: list[FLOATS]) -> bool:
        """Whether a place is no other mark's: none has taken it, none is more likely to be there."""
        ahead = self._place + self._speed
        far = [_length(place - ahead[m]) for m in range(4)]
        return far[n] == min(far) and all(_length(place - other) > self._size[n] for other in taken)

    def _look(self, picture: Picture, place: FLOATS, reach: float) -> tuple[float, FLOATS]:
        """Colour within `reach` colour pixels about a place of the picture, and its centre in the picture."""
        weight, corner = self._colour(picture, place, int(reach) + 2)
        if not weight.size:
            return 0.0, place
        mass, centred = centre(weight, to_plane(place) - corner, reach)
        return mass, to_picture(centred + corner)

    def _colour(self, picture: Picture, place: FLOATS, half: int) -> tuple[FLOATS, FLOATS]:
        """How much of each pixel about a place is tape, and that part's corner in the colour plane."""
        left, top = (max(int(at) - half, 0) for at in to_plane(place))
        part = (slice(top, top + 2 * half + 1), slice(left, left + 2 * half + 1))
        return weights(picture.cb[part], picture.cr[part], self.colour), np.array([left, top])

    def _search(self, n: int, picture: Picture, taken: list[FLOATS]) -> tuple[FLOATS | None, float]:
        """A patch of the mark's colour and size, nearest to where it was lost.

        One that is nearer to where another mark was last is left to that one.
        """
        half = int(2 * self._size[n] + 3 + 1.5 * self._lost[n])
        weight, corner = self._colour(picture, self._place[n], half)
        mask = (weight > 0.35).astype(np.uint8)
        count, _, stats, middles = cv2.connectedComponentsWithStats(mask, connectivity=4)
        best: tuple[float, FLOATS | None, float] = (math.inf, None, 0.0)
        for k in range(1, count):
            if not 0.4 <= stats[k, cv2.CC_STAT_AREA] / self._mass[n] <= 2.5:
                continue
            mass, place = self._look(picture, to_picture(middles[k] + corner), 0.8 * self._size[n] + 1.5)
            far = _length(place - self._place[n])
            share, clear = mass / self._mass[n], self._is_own(n, place, taken)
            if clear and ENOUGH <= share <= TOO_MUCH and far < best[0]:
                best = (far, place, min(1.0, 0.5 + 0.5 * share))
        return best[1], best[2]

    def _move(self, found: FLOATS, score: FLOATS) -> None:
        for n in range(4):
            if score[n] > 0:
                step = found[n] - self._place[n]
                self._speed[n] = step if self._lost[n] == 0 and self.places else np.zeros(2)
                self._place[n], self._lost[n] = found[n], 0
            else:
                self._speed[n], self._lost[n] = np.zeros(2), self._lost[n] + 1


def _length(step: FLOATS) -> float:
    return math.hypot(step[0], step[1])


def _floor(shape: tuple[int, ...], places: FLOATS, sizes: FLOATS) -> GREY:
    """1 on the floor about the feet: from the highest mark down, clear of each foot's marks."""
    free = np.zeros(shape, dtype=np.uint8)
    free[max(int(places[:, 1].min()), 0) :] = 1
    for (x, y), size in zip(places, 2 * sizes, strict=True):
        far = int(2 * size) + 4
        free[max(int(y) - far, 0) : int(y) + far, max(int(x) - far, 0) : int(x) + far] = 0
    return free


def _region(places: FLOATS) -> tuple[tuple[int, int], tuple[int, int]]:
    """Corner and size of the part of the picture in which feet stay: half of their spread all round."""
    low, high = places.min(axis=0), places.max(axis=0)
    margin = 0.5 * float(np.hypot(*(high - low))) + 20.0
    corner = np.maximum(low - margin, 0.0).astype(int)
    far = (high + margin).astype(int)
    return (int(corner[0]), int(corner[1])), (int(far[0] - corner[0]), int(far[1] - corner[1]))
