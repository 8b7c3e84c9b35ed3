"""Shoes without tape, followed by their outline from one picture in which a person has tapped heel and toe.

Every picture is cut out about each shoe, free of the camera's shake; `shoe_edges` says how well the shoe's
edges fit there with its heel up by one pitch or another. The best path of pitches gives

    rise_mm = 0.70 · shoe_mm · sin(pitch)

as a shoe bends at 0.70 of its length (common practice, no source). How high the camera stands follows from
both tapped shoes: they point the same way, square to the line from heel to heel. A heel that turns toward the
camera as it rises goes down in the picture and reads low.

It is rough: what is written of it has its own table, and nothing else is computed from it.
"""

import math
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from ingest.film.marks import Shake
from ingest.film.pictures import pictures
from ingest.film.shoe_edges import (
    DOWN,
    LEFT,
    PITCHES,
    PLANES,
    RIGHT,
    SHOE_PX,
    UP,
    Edges,
    Unfit,
    best_path,
    slopes_of,
)
from ingest.film.tracks import FLOATS, Outline, Picture
from warehouse.vocabulary import FEET

BALL = 0.70
STILL_S, FEWEST = 0.12, 3
EDGE = 4  # px that heel and toe keep from the picture's edge
LEAST_STRENGTH = 0.4  # of the edges, by their own length and some noise
LEAST_SCORE, LEAST_FALL, FALL_AT = 0.6, 0.12, 8  # of the score at address; FALL_AT pitches away
LOST_S = 0.10
MOST_S = 6.0  # of a film, from the tapped picture on
MOVED = 0.25  # of the shoe's length: a camera or a foot that went farther was moved
CUT, CUT_TIMES = 12.0, 8.0  # of 255 from one picture to the next, and in usual steps
LEG = (-0.15, 0.5)  # of the shoe's length ahead of a heel: what its leg covers above
FROM_FRONT = math.radians(50.0)
STANCE, STANCE_SD, HEIGHT, HEIGHT_SD = 1.4, 0.4, math.radians(12.0), math.radians(8.0)  # usual; in shoes


def follow_outlines(
    path: Path, name: str, heels: FLOATS, toes: FLOATS, shoe_mm: float, address_s: float
) -> list[Outline]:
    """Both feet's rough rises, lead first.

    heels and toes, (2, 2) px of lead and trail, are as tapped in the picture at `address_s` of the film.

    Raises
        Refused: no film can be read from it.
    """
    try:
        height = _camera_height(heels, toes)
        shoes = [_Shoe(heel, toe, height) for heel, toe in zip(heels, toes, strict=True)]
        with closing(pictures(path, name)) as shown:
            times_s = _follow(shown, shoes, address_s)
    except Unfit as unfit:
        return [Outline(foot, refused=str(unfit)) for foot in FEET]
    hidden = _hidden(heels, toes)
    found = []
    for foot, shoe in zip(FEET, shoes, strict=True):
        try:
            if foot == hidden:
                raise Unfit("heel_hidden")  # noqa: TRY301 - one place for all
            rises_mm = BALL * shoe_mm * np.sin(shoe.pitches(times_s))
        except Unfit as unfit:
            found.append(Outline(foot, refused=str(unfit)))
        else:
            times, rises = np.round(times_s, 4).tolist(), np.round(rises_mm, 1).tolist()
            found.append(Outline(foot, tuple(times), tuple(rises)))
    return found


def _hidden(heels: FLOATS, toes: FLOATS) -> str | None:
    """The foot whose heel stands behind the other, nearer leg."""
    near = int(heels[1, 1] > heels[0, 1])
    along = toes[near] - heels[near]
    ahead = float((heels[1 - near] - heels[near])[0] * np.sign(along[0]) / np.hypot(*along))
    return FEET[1 - near] if LEG[0] < ahead < LEG[1] else None


def _camera_height(heels: FLOATS, toes: FLOATS) -> float:
    """How high above the feet the camera stands, radians: most likely by both shoes as tapped.

    On the floor, rows stretched by 1 / sin(height), the feet point square to the line between the heels, and
    stand as far apart as people do.

    Raises
        Unfit: it looks at the toes.
    """
    foot, stance = (toes - heels).mean(axis=0), heels[1] - heels[0]
    height = np.radians(np.arange(3.0, 36.0))
    stretch = 1.0 / np.sin(height)
    f, s = (np.stack([np.full_like(height, way[0]), way[1] * stretch]) for way in (foot, stance))
    long, apart = np.hypot(*f), np.hypot(*s)
    askew = np.abs((f * s).sum(axis=0)) / (long * apart + 1e-9)
    unlike = (askew / 0.1) ** 2 + ((apart / long - STANCE) / STANCE_SD) ** 2
    best = int(np.argmin(unlike + ((height - HEIGHT) / HEIGHT_SD) ** 2))
    turned = math.atan2(abs(f[1, best]), abs(f[0, best]))
    if turned > FROM_FRONT:
        raise Unfit("from_front")
    return float(height[best])


def _follow(shown: Iterator[Picture], shoes: Sequence["_Shoe"], address_s: float) -> FLOATS:
    """Take every picture from the tapped one on; returns their times (F,)."""
    times, steps, small, shake = [], [], None, None
    for picture in shown:
        if picture.t_s < address_s - 0.002:
            continue
        if picture.t_s > address_s + MOST_S:
            break
        now = cv2.GaussianBlur(cv2.resize(picture.y, (64, 36), interpolation=cv2.INTER_AREA), (0, 0), 1.0)
        if small is not None:
            steps.append(float(np.abs(now.astype(float) - small).mean()))
        small = now.astype(float)
        times.append(picture.t_s)
        if shake is None:
            shake = Shake(picture.y, _floor(picture.y.shape, shoes))
        shift = shake.take(picture.y).copy()
        for shoe in shoes:
            shoe.take(picture, shift)
    times_s, change = np.array(times), np.array(steps)
    if len(times) < 2 * FEWEST:
        raise Unfit("shoe_lost")
    if (change > np.maximum(CUT, CUT_TIMES * np.median(change))).any():
        raise Unfit("cut")
    return times_s


def _floor(shape: tuple[int, ...], shoes: Sequence["_Shoe"]) -> NDArray[np.uint8]:
    """1 on the floor: below the heels, clear of the shoes."""
    free = np.zeros(shape, dtype=np.uint8)
    free[max(int(min(shoe.heel[1] for shoe in shoes)), 0) :] = 1
    for shoe in shoes:
        (left, top), (right, low) = shoe.box
        free[max(top, 0) : max(low, 0), max(left, 0) : max(right, 0)] = 0
    return free


class _Shoe:
    """One shoe as it goes: its edges as tapped, where it stands, and how each pitch scores."""

    def __init__(self, heel: FLOATS, toe: FLOATS, high: float) -> None:
        self.heel, self.toe = heel, toe
        self.scale = SHOE_PX / float(np.hypot(*(toe - heel)))
        self.way = 1.0 if toe[0] >= heel[0] else -1.0
        along = (toe - heel) * self.scale * (self.way, 1.0)
        up = math.cos(high) * float(np.hypot(along[0], along[1] / math.sin(high)))
        across = np.array([-along[1] / math.sin(high), along[0] * math.sin(high)])
        self.axes = np.array(
            [along, across, (0.0, -up)]
        ).T  # (2, 3) px of the cut-out, a shoe's length each way
        self.ball = np.array([LEFT, UP]) + BALL * along
        self.first: list[tuple[PLANES, PLANES]] = []  # pictures and slopes until the edges are known
        self.still, self.start_s = 0, 0.0
        self.place = np.zeros(2)
        self.places: list[FLOATS] = []
        self.shifts: list[FLOATS] = []
        self.scores: list[FLOATS] = []
        self.ahead: list[float] = []
        self.outside = False
        self.edges: Edges | None = None

    @property
    def box(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """Corners of what a shoe and its leg cover in the picture of address."""
        px = 1.0 / self.scale
        low, high = np.minimum(self.heel, self.toe), np.maximum(self.heel, self.toe)
        return (int(low[0] - 30 * px), int(low[1] - 120 * px)), (
            int(high[0] + 30 * px),
            int(high[1] + 25 * px),
        )

    def _cut(self, picture: Picture, shift: FLOATS) -> PLANES:
        """(H, W, 3) brightness and colour about the shoe, its toe to the right, the camera's shake undone."""
        size = (LEFT + RIGHT, UP + DOWN)
        planes = []
        for plane, part in ((picture.y, 1.0), (picture.cb, 2.0), (picture.cr, 2.0)):
            zoom = self.scale * part
            at = (self.heel + shift + 0.5) / part - 0.5
            left, top = (max(int(v), 0) for v in at - (np.array([RIGHT, UP]) / zoom + 2))
            near = plane[top : int(at[1] + DOWN / zoom) + 2, left : int(at[0] + RIGHT / zoom) + 2]
            if not near.size:
                near, at = plane[:1, :1], at - at
            near = cv2.GaussianBlur(near, (0, 0), 0.5 / zoom) if zoom < 0.7 else near
            x, y = at - (left, top)
            across = zoom * self.way
            move = np.array([[across, 0.0, LEFT - across * x], [0.0, zoom, UP - zoom * y]])
            planes.append(cv2.warpAffine(near, move, size, borderMode=cv2.BORDER_REPLICATE))
        return np.stack(planes, axis=2).astype(np.float32)

    def take(self, picture: Picture, shift: FLOATS) -> None:
        """Score the pitches in the next picture."""
        cut = self._cut(picture, shift)
        self.shifts.append(shift)
        at = np.stack([self.heel, self.toe]) + shift + self.place / self.scale * (self.way, 1.0)
        tall, wide = picture.y.shape
        self.outside |= bool((at < EDGE).any() or (at > (wide - EDGE, tall - EDGE)).any())
        if self.edges is not None:
            self._score(slopes_of(cut))
            return
        self.start_s = self.start_s if self.first else picture.t_s
        self.first.append((cut, slopes_of(cut)))
        if len(self.first) >= FEWEST and picture.t_s - self.start_s >= STILL_S:
            self.edges = Edges(self.first, self.axes, self.ball)
            self.still = len(self.first)
            for _, slopes in self.first:
                self._score(slopes)

    def _score(self, slopes: PLANES) -> None:
        if self.edges is not None:
            self.place, ahead = self.edges.stand(slopes, self.place)
            self.places.append(self.place)
            self.ahead.append(ahead)
            self.scores.append(self.edges.turn(slopes, self.place))

    def pitches(self, times_s: FLOATS) -> FLOATS:
        """(F,) radians, against those of the first still pictures.

        Raises
            Unfit: the shoe can't be seen, leaves, moves or is lost.
        """
        if self.edges is None or self.edges.strength < LEAST_STRENGTH:
            raise Unfit("no_contrast")
        if self.outside:
            raise Unfit("out_of_picture")
        gone = np.hypot(*np.array(self.places).T).max(), np.hypot(*np.array(self.shifts).T).max() * self.scale
        if max(gone) > MOVED * SHOE_PX:
            raise Unfit("moved")
        scores = np.array(self.scores)
        scores = scores / scores[: self.still].max(axis=(1, 2)).mean()
        path, twists = best_path(scores, times_s)
        rows, last = np.arange(len(path)), len(PITCHES) - 1
        scores = scores[rows, :, twists]
        best = scores[rows, path]
        falls = [
            np.where((at >= 0) & (at <= last), best - scores[rows, np.clip(at, 0, last)], np.inf)
            for at in (path - FALL_AT, path + FALL_AT)
        ]
        fall = np.minimum(*falls)
        if np.median(fall[: self.still]) < LEAST_FALL:
            raise Unfit("no_contrast")
        lost = (best < LEAST_SCORE) | (fall < LEAST_FALL / 2) | (np.array(self.ahead) < LEAST_SCORE)
        if _longest(lost, times_s) >= LOST_S:
            raise Unfit("shoe_lost")
        before, after = (scores[rows, np.clip(path + step, 0, last)] for step in (-1, 1))
        bend = np.minimum(before - 2 * best + after, -1e-6)
        between = np.clip(0.5 * (before - after) / bend, -0.5, 0.5)
        found = PITCHES[path] + between * (PITCHES[1] - PITCHES[0])
        return np.asarray(found - np.median(found[: self.still]))


def _longest(true: NDArray[np.bool_], times_s: FLOATS) -> float:
    """How long it holds at a stretch, s."""
    longest, since = 0.0, None
    for now, at in zip(true, times_s, strict=True):
        since = (at if since is None else since) if now else None
        longest = (
            max(longest, at - since + float(np.median(np.diff(times_s)))) if since is not None else longest
        )
    return longest
