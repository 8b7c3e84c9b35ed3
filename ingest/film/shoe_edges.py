"""A shoe's edges in a picture, and how well they fit another in which its heel is up.

A shoe is cut out and scaled to 160 px, toe to the right. Its outline is GrabCut's (Rother, Kolmogorov and
Blake 2004, in OpenCV), begun from a strip between the tapped heel and toe; its edges are the pixels there
whose colour changes most in the first still pictures, those below a trouser's hem above all. An edge is a
direction and a side, so light and shadow alter it little (as in templates of gradients: Hinterstoisser et al.
2012). The edges ahead of the ball say where the shoe stands; those behind it are turned about the ball by a
pitch and a twist, and score

    S(pitch, twist) = Σ gᵢ(pitch, twist) · g(xᵢ(pitch, twist)) / Σ gᵢ · gᵢ

with g a pixel's gradient of brightness and both colours, (3, 2), over its own length and WEAK.
"""

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

FLOATS = NDArray[np.float64]
PLANES = NDArray[np.float32]
SHOE_PX, LEFT, RIGHT, UP, DOWN = 160.0, 80, 220, 130, 50  # a shoe, and how far about its heel is looked at
PITCHES = np.radians(np.arange(-5.0, 41.0, 1.0))
TWISTS, TWIST_STEP = np.radians(np.arange(-24.0, 25.0, 6.0)), math.radians(6.0)
TWIST_FREE, TWIST_COST, SMOOTH = math.radians(4.0), 0.01, 0.1
FASTEST = math.radians(500.0)  # a second, of a pitch: 1.8 m/s of a heel
WEAK = 3.0  # of 255 a pixel: a gradient as weak as this is half believed
LEAST_EDGES, MOST_EDGES, LEAST_EDGE = 120, 500, 0.25
LOW, HIGH = 0.12, 0.26  # of the shoe: edges lower than that count whole, higher ones less
REACH = 5  # px about its last place in which a foot is looked for; it is followed half-way, which calms noise


class Unfit(Exception):  # noqa: N818 - it is no error of a delivery
    """Why a shoe is not followed, as a code."""


class Edges:
    """A shoe's edges: places (N, 2) px of the cut-out, gradients (N, 3, 2), weights (N,), and which turn."""

    def __init__(self, first: Sequence[tuple[PLANES, PLANES]], axes: FLOATS, ball: FLOATS) -> None:
        held = np.mean([slopes for _, slopes in first], axis=0)
        mask = _mask(np.mean([cut for cut, _ in first], axis=0), axes)
        strong = np.sqrt((held**2).sum(axis=(2, 3)))
        near = cv2.dilate(mask, np.ones((5, 5), np.uint8))
        ys, xs = np.nonzero(np.where(near > 0, strong, 0.0) > LEAST_EDGE)
        if len(xs) < LEAST_EDGES:
            raise Unfit("no_contrast")
        keep = np.argsort(-strong[ys, xs], kind="stable")[: 3 * MOST_EDGES]
        keep = keep[:: max(len(keep) // MOST_EDGES, 1)]
        self.at = np.stack([xs[keep], ys[keep]], 1).astype(float)
        self.slope = held[ys[keep], xs[keep]].astype(float)
        self.strength = float(np.median(strong[ys[keep], xs[keep]]))
        flat = axes[:, [0, 2]]
        away = np.linalg.solve(flat, (self.at - ball).T).T
        low = np.clip((HIGH - away[:, 1]) / (HIGH - LOW), 0.3, 1.0)
        self.slope *= low[:, None, None]  # a hem is high
        self.hind, self.front = away[:, 0] < -0.06, away[:, 0] > 0.02
        ways = [axes @ _turn(pitch, twist) for pitch in PITCHES for twist in TWISTS]
        jacobians = [way @ np.linalg.inv(flat) for way in ways]
        at, slope = self.at[self.hind], self.slope[self.hind]
        if self.hind.sum() < LEAST_EDGES / 2 or self.front.sum() < LEAST_EDGES / 6:
            raise Unfit("no_contrast")
        self.turned = np.stack([ball + (at - ball) @ j.T for j in jacobians])
        steep = np.stack([slope @ np.linalg.inv(j) for j in jacobians])
        size = np.sqrt((slope**2).sum(axis=(1, 2)))
        steep *= (size / (np.sqrt((steep**2).sum(axis=(2, 3))) + 1e-9))[..., None, None]
        self.steep = steep
        self.whole = float((slope**2).sum())
        reach = np.arange(-REACH, REACH + 1)
        self.reach = np.stack(np.meshgrid(reach, reach), -1).reshape(-1, 2)

    def stand(self, slopes: PLANES, place: FLOATS) -> tuple[FLOATS, float]:
        """Where the front of the shoe stands now, px from where it stood, near `place`; and its score."""
        at, slope = self.at[self.front], self.slope[self.front]
        seen = _sampled(slopes, at[None] + place + self.reach[:, None])
        scores = (seen * slope).sum(axis=(1, 2, 3)) / (slope**2).sum() - 0.002 * (self.reach**2).sum(axis=1)
        best = int(np.argmax(scores))
        return place + 0.5 * self.reach[best], float(scores[best])

    def turn(self, slopes: PLANES, place: FLOATS) -> FLOATS:
        """A score of each pitch and twist (P, T)."""
        scores = (_sampled(slopes, self.turned + place) * self.steep).sum(axis=(1, 2, 3)) / self.whole
        return np.asarray(scores.reshape(len(PITCHES), len(TWISTS)))


def _turn(pitch: float, twist: float) -> FLOATS:
    """(3, 2): where ahead and up of a foot go, on ahead, across and up, as its heel rises and turns aside."""
    c, d = math.cos(pitch), math.sin(pitch)
    return np.array(
        [[c * math.cos(twist), d * math.cos(twist)], [c * math.sin(twist), d * math.sin(twist)], [-d, c]]
    )


def slopes_of(cut: PLANES) -> PLANES:
    """(H, W, 3, 2) of brightness and colours, by their common length and WEAK."""
    soft = cv2.GaussianBlur(cut, (0, 0), 1.5)
    found = np.stack([cv2.Sobel(soft, cv2.CV_32F, *way, ksize=3) / 8 for way in ((1, 0), (0, 1))], axis=3)
    found /= np.sqrt((found**2).sum(axis=(2, 3), keepdims=True)) + WEAK
    tall, wide = found.shape[:2]
    return np.asarray(cv2.GaussianBlur(found.reshape(tall, wide, 6), (0, 0), 1.0)).reshape(tall, wide, 3, 2)


def _sampled(slopes: PLANES, places: FLOATS) -> PLANES:
    """Gradients (..., 3, 2) at places (..., 2)."""
    tall, wide = slopes.shape[:2]
    flat = np.rint(places).astype(np.intp)
    x, y = np.clip(flat[..., 0], 0, wide - 1), np.clip(flat[..., 1], 0, tall - 1)
    return slopes[y, x]


def _mask(cut: PLANES, axes: FLOATS) -> NDArray[np.uint8]:
    """(H, W) 1 in the shoe: GrabCut, begun from a strip between heel and toe."""
    along = axes[:, 0]
    heel = np.array([LEFT, UP], dtype=float)
    lift = axes[:, 2]

    def strip(points: Sequence[tuple[float, float]]) -> NDArray[np.int32]:
        return np.array([heel + x * along + z * lift for x, z in points]).round().astype(np.int32)

    seeds = np.full(cut.shape[:2], cv2.GC_BGD, np.uint8)
    cv2.fillPoly(
        seeds,
        [strip([(-0.08, -0.05), (1.08, -0.05), (1.08, 0.2), (0.6, 0.32), (0.3, 0.42), (-0.08, 0.42)])],
        cv2.GC_PR_BGD,
    )
    cv2.fillPoly(
        seeds, [strip([(0.0, 0.0), (1.0, 0.0), (0.95, 0.1), (0.5, 0.2), (0.0, 0.24)])], cv2.GC_PR_FGD
    )
    cv2.fillPoly(seeds, [strip([(0.06, 0.04), (0.9, 0.03), (0.9, 0.06), (0.06, 0.12)])], cv2.GC_FGD)
    bgr = np.clip(cut, 0, 255).astype(np.uint8)
    cv2.setRNGSeed(1)
    cv2.grabCut(bgr, seeds, None, np.zeros((1, 65)), np.zeros((1, 65)), 3, cv2.GC_INIT_WITH_MASK)
    return np.isin(seeds, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)


def best_path(scores: FLOATS, times_s: FLOATS) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """(F,) pitches and twists with the best sum of scores (F, P, T), none faster than a heel can be.

    A foot that stands flat can't twist: a twist costs the more, the less the heel is up.
    """
    twist = TWISTS / (TWIST_FREE + np.maximum(PITCHES, 0.0)[:, None])
    scores = scores - TWIST_COST * twist**2
    aside = ((TWISTS[:, None] - TWISTS[None]) / TWIST_STEP) ** 2
    step = np.abs(PITCHES[:, None] - PITCHES[None])
    total, came = scores[0], np.zeros((*scores.shape, 2), dtype=np.intp)
    for n in range(1, len(scores)):
        most = max(FASTEST * (times_s[n] - times_s[n - 1]), 1.5 * (PITCHES[1] - PITCHES[0]))
        turns = total[:, :, None] - SMOOTH * aside[None] * 0.01 / (times_s[n] - times_s[n - 1])
        from_twist, total = turns.argmax(axis=1), turns.max(axis=1)
        rises = total[:, None, :] - np.where(step > most, np.inf, SMOOTH * (step / most) ** 2)[:, :, None]
        from_pitch = rises.argmax(axis=0)
        came[n, ..., 0], came[n, ..., 1] = from_pitch, np.take_along_axis(from_twist, from_pitch, axis=0)
        total = rises.max(axis=0) + scores[n]
    path = np.empty((len(scores), 2), dtype=np.intp)
    path[-1] = np.unravel_index(total.argmax(), total.shape)
    for n in range(len(scores) - 1, 0, -1):
        path[n - 1] = came[n][tuple(path[n])]
    return path[:, 0], path[:, 1]
