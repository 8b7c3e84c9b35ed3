"""Clips that lie worse on their own plates than the clips of their session do on theirs.

How closely a heel follows its pressure differs from student to student and from camera to camera, but hardly
from swing to swing of a session. So each clip is laid over its plate by what the *other* clips teach alone:
the shapes of both feet, and how far each heel rises, b, with a freedom of 2 % (its scale is its own clip's)
and as much as b is unsure.
What is left a value,

    v = squares left / number of values,

is held against the others' v. A clip of another swing has other timing and other places under the foot, and
more is left over. It does not belong when

    ln v − median(ln v of the others) > max(3 · s, ln 1.3), but ln 4 at most,

s the others' spread (1.4826 · median absolute deviation): where heels follow loosely, the test is lenient.
1.3 is over three standard deviations of v from shaking alone, for two heels of some 170 values. Under four
clips nothing can be said.
"""

import math
from collections.abc import Sequence

import numpy as np

from models.swing.overlay import Filmed, Overlays

FEWEST_TO_COMPARE = 4
GAIN_SD = 0.02
SPREADS, LEAST_EXCESS, MOST_EXCESS = 3.0, 1.3, 4.0
LEAST_MM2 = 0.01  # what is left is never less than the tenth of a millimetre that points are read to
MAD_TO_SD = 1.4826


def misfits(clips: Sequence[Filmed], overlays: Overlays, trusted: Sequence[int]) -> set[int]:
    """Places in `clips` of those that lie too ill on their own plates, by the `trusted` others."""
    if len(trusted) < FEWEST_TO_COMPARE:
        return set()
    noise = max(float(np.median([clips[k].shaking for k in trusted])), LEAST_MM2)
    left = np.empty(len(clips))
    for i, clip in enumerate(clips):
        others = [k for k in trusted if k != i]
        products = overlays.products(overlays.shapes(others))
        summed = products[others].sum(axis=0)
        gain = np.maximum(summed[:, 1] / np.maximum(summed[:, 0], 1e-9), 0.0)
        square, rise = products[i].T
        beyond = rise - gain * square
        stretch = (gain * GAIN_SD) ** 2 + noise / np.maximum(summed[:, 0], 1e-9)
        explained = 2.0 * gain * rise - gain**2 * square + stretch * beyond**2 / (stretch * square + noise)
        left[i] = math.log(max((clip.squares - float(explained.sum())) / max(clip.count, 1), LEAST_MM2))
    found = set()
    for i in range(len(clips)):
        others = [k for k in trusted if k != i]
        usual = float(np.median(left[others]))
        spread = MAD_TO_SD * float(np.median(np.abs(left[others] - usual)))
        most = min(max(SPREADS * spread, math.log(LEAST_EXCESS)), math.log(MOST_EXCESS))
        if left[i] - usual > most:
            found.add(i)
    return found
