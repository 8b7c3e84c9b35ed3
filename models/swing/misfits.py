"""Clips that lie worse on their own plates than the clips of their session do on theirs.

How closely a heel follows its pressure differs from student to student and from camera to camera, but hardly
from swing to swing of a session. So each clip is laid over its plate by what the *other* clips teach alone:
the shapes of both feet, and how far each heel rises, b, with a freedom of 3 % (its scale is its own clip's)
and as much as b is unsure. A clip of another swing has other timing and other places under the foot, which
show as slow departures; points shake from picture to picture. So what is left is smoothed over seven values,
about an eighth of a second, and

    v = mean square of it + 0.02 mm²

is held against the others' v. The clip does not belong when

    ln v − median(ln v of the others) > max(3 · s, ln 2), but ln 8 at most,

s the others' spread (1.4826 · median absolute deviation): where heels follow loosely, the test is lenient.
2 is over three standard deviations of v from shaking alone, for two heels of some 170 values. Under four
clips nothing can be said.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from models.swing.overlay import MAD_TO_SD, Filmed, Overlays, gains

FLOATS = NDArray[np.float64]
FEWEST_TO_COMPARE = 4
GAIN_SD = 0.03
SMOOTHED = 7  # values
LEAST_SEEN = 0.5  # of the values that are smoothed together
SPREADS, LEAST_EXCESS, MOST_EXCESS = 3.0, 2.0, 8.0
LEAST_MM2 = 0.02


def misfits(clips: Sequence[Filmed], overlays: Overlays, trusted: Sequence[int]) -> set[int]:
    """Places in `clips` of those that lie too ill on their own plates, by the `trusted` others."""
    if len(trusted) < FEWEST_TO_COMPARE:
        return set()
    noise = max(float(np.median([clips[k].shaking for k in trusted])), LEAST_MM2)
    left = np.array([math.log(_left(i, clips, overlays, trusted, noise)) for i in range(len(clips))])
    found = set()
    for i in range(len(clips)):
        others = [k for k in trusted if k != i]
        usual = float(np.median(left[others]))
        spread = MAD_TO_SD * float(np.median(np.abs(left[others] - usual)))
        most = min(max(SPREADS * spread, math.log(LEAST_EXCESS)), math.log(MOST_EXCESS))
        if left[i] - usual > most:
            found.add(i)
    return found


def _left(i: int, clips: Sequence[Filmed], overlays: Overlays, trusted: Sequence[int], noise: float) -> float:
    """V of clip i, mm²."""
    others = [k for k in trusted if k != i]
    shapes = overlays.shapes(others)
    products = overlays.products(shapes)
    gain, unsure = gains(products[others], noise)
    own, freedom = products[i], (gain * GAIN_SD) ** 2 + unsure
    gain = gain + freedom * (own[:, 1] - gain * own[:, 0]) / (freedom * own[:, 0] + noise)
    slow = np.concatenate(
        [
            _smoothed(seen.values - b * line, seen.weight)
            for seen, line, b in zip(clips[i].feet, overlays.lines(shapes)[i], gain, strict=True)
        ]
    )
    return float(np.mean(slow**2)) + LEAST_MM2 if slow.size else LEAST_MM2


def _smoothed(values: FLOATS, weight: FLOATS) -> FLOATS:
    """Weighted means of neighbouring values, of those places about which at least half was seen."""
    known = weight / max(float(weight.max(initial=0.0)), 1e-9)
    around = uniform_filter1d(known, SMOOTHED, mode="constant")
    enough = around > LEAST_SEEN
    return np.asarray(uniform_filter1d(values * known, SMOOTHED, mode="constant")[enough] / around[enough])
