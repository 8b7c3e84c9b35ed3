"""Which plate of a session each of its clips belongs to: a clip of another swing gives itself away.

Swings of a kind resemble one another so much that a clip lies well on nearly any swing's plate. What tells
them apart is how far each heel rises for how far its pressure goes, and that holds from swing to swing of a
session. So each clip is laid over every plate of the session by the *other* clips' gains b (and the shared
shapes of overlay.py), with a little freedom: normal deviates of SD 0.5 % of foot length in a and 3 % in b,
and as much in b as it is unsure.

    z(clip, plate) = least squares at the best lag / s²

s² is the median over clips of each one's least squares a value, at least 0.5 mm², as no heel follows its
pressure more closely, and at most twice what the points themselves shake. Clips are dealt to plates, one
each, so that Σz is least (the linear assignment problem); a clip's own plate is given 10 in advance, and a
clip may stay without a plate at 2.5 times its number of values. A clip does not match when it is dealt
anything but its own plate and lies better there, or when it lies better on any other by over 5. When over
half of three or more are dealt another, none matches: the gains are not this golfer's either.

Among few clips the gains of others say little. Then each clip is laid over every plate by the shapes and
gains that suit the two best, and

    (least squares on its own plate − on the best plate) / (least squares on the best / degrees of freedom)

is at most 5, or it does not belong. A golfer's own swings lie nearly as well where heels follow their
pressure loosely, so this refuses more clips of the right swing than others' gains do.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from models.swing.lags import Lags, lowest
from models.swing.overlay import Filmed, Overlays, Shape, gains, shape_costs, shaped, steepness

FLOATS = NDArray[np.float64]
HINGE_SD, GAIN_SD = 0.5, 0.03
IN_ADVANCE = 10.0
ELSEWHERE = 5.0
WITHOUT = 2.5
LEAST_NOISE_MM2 = 0.5
MOST_OVER_SHAKING = 2.0
MOST_STRANGERS = 0.5
FREE = 8  # each foot's a, s, b and c
LEAST_SHAKE_MM2 = 0.05


def strangers(
    clips: Sequence[Filmed],
    own: Sequence[int],
    overlays: Overlays,
    plates: Sequence[FLOATS],
    lags: Lags,
    trusted: Sequence[int],
) -> set[int]:
    """Places in `clips` of those that do not belong to the plate they came with, `own` of `plates`.

    The gains are those of the `trusted` clips, its own left out.
    """
    if len(plates) < 2:
        return set()
    shapes = overlays.shapes(trusted)
    laid, products = overlays.laid(shapes), overlays.products(shapes)
    values = np.array([clip.count for clip in clips], dtype=np.float64)
    noise = float(np.median([laid[k].left / max(values[k] - 4.0, 1.0) for k in trusted]))
    if not noise > 0.0:
        return set()
    lines = [_transforms(plate, shapes, lags) for plate in plates]
    left = np.empty((len(clips), len(plates)))
    for i, clip in enumerate(clips):
        gain, unsure = gains(products[[k for k in trusted if k != i] or [i]], noise)
        for j, line in enumerate(lines):
            far = lags.too_far(clip.lead.values.size, plates[j].shape[1])
            squares = _squares_left(clip, line, gain, unsure, noise, lags)
            left[i, j] = max(lowest(np.where(far, np.inf, squares))[2], 0.0)
    scale = _scale(left.min(axis=1) / values, clips, trusted)
    costs = np.full((len(clips), len(plates) + len(clips)), 1e12)
    costs[:, : len(plates)] = left / scale
    costs[np.arange(len(clips)), len(plates) + np.arange(len(clips))] = WITHOUT * values
    costs[np.arange(len(clips)), own] -= IN_ADVANCE
    dealt = linear_sum_assignment(costs)[1]
    moved = np.array(dealt) != own
    if len(clips) > 2 and moved.sum() > MOST_STRANGERS * len(clips):
        return set(range(len(clips)))
    # One whose plate a stranger took, and who lies worse elsewhere, stays with its own. One that lies better
    # on another's plate does not belong to its own, even where that other stays.
    best = costs[:, : len(plates)].min(axis=1)
    return {i for i, at in enumerate(own) if min(costs[i, dealt[i]], best[i] + ELSEWHERE) < costs[i, at]}


def outdone(clips: Sequence[Filmed], own: Sequence[int], plates: Sequence[FLOATS], lags: Lags) -> set[int]:
    """Places in `clips` of those that lie clearly better on another of `plates` than on their `own`.

    Each is judged by itself, with shapes and gains of its own on every plate.
    """
    found = set()
    for i, (clip, at) in enumerate(zip(clips, own, strict=True)):
        left = [float(shape_costs(clip, plate, lags).min()) for plate in plates]
        least = min(left)
        if left[at] - least > ELSEWHERE * max(least / max(clip.count - FREE, 1), LEAST_SHAKE_MM2):
            found.add(i)
    return found


def _scale(least: FLOATS, clips: Sequence[Filmed], trusted: Sequence[int]) -> float:
    """s², mm², from each clip's least squares a value at its best plate."""
    shaking = max(float(np.median([clips[k].shaking for k in trusted])), LEAST_NOISE_MM2)
    return float(np.clip(np.median(least[list(trusted)]), LEAST_NOISE_MM2, MOST_OVER_SHAKING * shaking))


def _transforms(plate: FLOATS, shapes: Sequence[Shape], lags: Lags) -> list[list[NDArray[np.complex128]]]:
    """For each foot the transforms of f, f′, f², f′² and f·f′."""
    made = []
    for line, shape in zip(plate, shapes, strict=True):
        f, slope = shaped(line, shape), steepness(line, shape)
        f, slope = f - f.mean(), slope - slope.mean()
        made.append([lags.line(one) for one in (f, slope, f * f, slope * slope, f * slope)])
    return made


def _squares_left(
    clip: Filmed,
    lines: list[list[NDArray[np.complex128]]],
    gain: FLOATS,
    unsure: FLOATS,
    noise: float,
    lags: Lags,
) -> FLOATS:
    """(L,) squares left of both heels with b given, each foot's a and b bent at a price, at every lag.

    `unsure` is the variance of each b as it was found.
    """
    together = np.zeros(lags.steps.size)
    for seen, (f, slope, ff, ss, fs), b, spare in zip(clip.feet, lines, gain, unsure, strict=True):
        count = max(float(seen.weight.sum()), 1.0)
        weight, rise = lags.kernel(seen.weight), lags.kernel(seen.weight * seen.values)
        mean_f, mean_s = lags.sums(f, weight), lags.sums(slope, weight)
        spread_f = lags.sums(ff, weight) - mean_f**2 / count
        spread_s = lags.sums(ss, weight) - mean_s**2 / count
        both = lags.sums(fs, weight) - mean_f * mean_s / count
        rise_f, rise_s = lags.sums(f, rise), lags.sums(slope, rise)
        left_f, left_s = rise_f - b * spread_f, rise_s - b * both  # f and f′ with what b leaves
        bend, stretch = b * HINGE_SD, math.sqrt((b * GAIN_SD) ** 2 + spare)
        aa, bb = bend**2 * spread_s + noise, stretch**2 * spread_f + noise
        ab, ra, rb = bend * stretch * both, bend * left_s, stretch * left_f
        together += seen.squares - 2.0 * b * rise_f + b * b * spread_f
        together -= (bb * ra**2 - 2.0 * ab * ra * rb + aa * rb**2) / (aa * bb - ab**2)
    return together
