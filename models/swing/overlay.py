"""Heels' rise on clips laid over the plates of one session, by shapes that its swings share.

A heel's rise is taken to follow its foot's centre of pressure along, x in % of foot length:

    rise = c + b·f(x − a),  f(z) = max(z, 0) for s = 0, else s·ln(1 + exp(z / s)),  b ≥ 0.

By two-point statics a heel carries nothing past 70 %, but where it begins to lift (a), and how softly (s),
differs from foot to foot. It does not differ from swing to swing of a session: shoes, feet and camera are
the same. So a and s of each foot are those of `SHAPES` that leave the least squares over all swings together,
each swing at its own best lag and with its own b and c. One swing alone finds its lag with a and s free,
which a trail heel that only rises can trade for lag; several swings can not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.swing.lags import FINE, Lags, Seen, drawn, left_over, lowest, standard_error, thinned

FLOATS = NDArray[np.float64]
Shape = tuple[float, float]  # a (% of foot length), s (% of foot length)
SHAPES: tuple[Shape, ...] = (
    (-50.0, 0.0),  # takes all of along
    *((float(a), s) for s in (0.0, 4.0) for a in range(44, 82, 2)),
)
MAD_TO_SD = 1.4826  # of values that scatter normally
NEAR_S = 0.1  # a lag is looked for at its finest this near to where it was found coarsely


@dataclass(frozen=True)
class Filmed:
    """Both heels of one swing as its clip saw them."""

    lead: Seen
    trail: Seen

    @property
    def feet(self) -> tuple[Seen, Seen]:
        """Lead and trail heel."""
        return self.lead, self.trail

    @property
    def squares(self) -> float:
        """Squares of both heels about their means, mm²."""
        return self.lead.squares + self.trail.squares

    @property
    def shaking(self) -> float:
        """Variance a picture of what changes from value to value only, mm²: second differences, by MAD."""
        turns = [np.diff(seen.values, 2) * np.sqrt(seen.weight[1:-1] / 6.0) for seen in self.feet]
        return float((MAD_TO_SD * np.median(np.abs(np.concatenate(turns)))) ** 2) if self.count > 8 else 0.0

    @property
    def count(self) -> int:
        """Values of both."""
        return self.lead.count + self.trail.count


@dataclass(frozen=True)
class Laid:
    """One swing's clip on its plate at the shared shapes; steps of 1 / (FINE · hz) from the plate's start."""

    step: float
    se_s: float
    left: float  # squares left, mm²
    feet_apart: float  # squares of the feet's own lags' difference over its variance


def filmed(rise_mm: FLOATS, fps: float) -> Filmed:
    """Thin the rise (2, F) of lead and trail heel."""
    return Filmed(thinned(rise_mm[0], fps), thinned(rise_mm[1], fps))


def grounds(along_pct: FLOATS, rate_hz: float, hz: float) -> FLOATS:
    """(2, n) along of both feet, drawn on the lags' grid."""
    return np.array([drawn(line, rate_hz, hz) for line in along_pct])


def shaped(along_pct: FLOATS, shape: Shape) -> FLOATS:
    """f(x − a)."""
    a, s = shape
    beyond = along_pct - a
    return np.maximum(beyond, 0.0) if s == 0.0 else s * np.logaddexp(0.0, beyond / s)


def steepness(along_pct: FLOATS, shape: Shape) -> FLOATS:
    """f′(x − a): by how much the rise falls when a grows."""
    a, s = shape
    if s == 0.0:
        return (along_pct > a).astype(np.float64)
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(-(along_pct - a) / s, -60.0, 60.0))))


def shape_costs(clip: Filmed, plate: FLOATS, lags: Lags) -> FLOATS:
    """(shapes, shapes) squares one swing leaves at its best lag, for each shape of lead and of trail foot."""
    lead, trail = (
        left_over(seen, np.array([shaped(line, shape) for shape in SHAPES]), lags)
        for seen, line in zip(clip.feet, plate, strict=True)
    )
    best = int(np.argmin(lead.min(axis=0) + trail.min(axis=0)))
    near = round(NEAR_S * clip.lead.hz * FINE)
    fine = np.arange(max(best - near, 0), min(best + near + 1, lead.shape[1]))
    steps = np.union1d(np.arange(0, lead.shape[1], FINE), fine)
    lead, trail = lead[:, steps], trail[:, steps]
    return np.array([(one + trail).min(axis=1) for one in lead])


def best_shapes(costs: FLOATS) -> tuple[Shape, Shape]:
    """The shapes of lead and trail foot with the least of the costs (shapes, shapes)."""
    lead, trail = np.unravel_index(int(np.argmin(costs)), costs.shape)
    return SHAPES[int(lead)], SHAPES[int(trail)]


def laid(clip: Filmed, plate: FLOATS, shapes: Sequence[Shape], lags: Lags, loose_s: float) -> Laid:
    """Lay one clip over its plate at the shared shapes, each foot with its own b and c.

    `loose_s` is the difference between the feet's lags, s, that says nothing.
    """
    step_s = 1.0 / (clip.lead.hz * FINE)
    left = [
        left_over(seen, shaped(line, shape), lags)
        for seen, line, shape in zip(clip.feet, plate, shapes, strict=True)
    ]
    together = left[0] + left[1]
    place, curve, least = lowest(together)
    variance = least / max(clip.count - 4, 1)
    near = slice(max(round(place) - round(0.25 / step_s), 0), round(place) + round(0.25 / step_s) + 1)
    own = [lowest(one[near]) for one in left]
    apart = 0.0
    if all(dip > 0.0 for _, dip, _ in own) and variance > 0.0:
        spread = sum(2.0 * variance / dip for _, dip, _ in own) * step_s**2 + loose_s**2
        apart = ((own[0][0] - own[1][0]) * step_s) ** 2 / spread
    error = standard_error(least, curve, clip.count, step_s)
    return Laid(float(lags.steps[0]) + place, error, least, apart)


class Overlays:
    """The clips of a session on their own plates, laid once for each pair of shapes that is asked for."""

    def __init__(self, clips: Sequence[Filmed], plates: Sequence[FLOATS], lags: Lags, loose_s: float) -> None:
        self._clips, self._plates, self._lags, self._loose_s = clips, plates, lags, loose_s
        self._costs = [shape_costs(clip, plate, lags) for clip, plate in zip(clips, plates, strict=True)]
        self._made: dict[tuple[Shape, Shape], tuple[list[Laid], list[FLOATS], FLOATS]] = {}

    def shapes(self, trusted: Sequence[int]) -> tuple[Shape, Shape]:
        """The shapes of lead and trail foot that leave least over the trusted clips together."""
        return best_shapes(np.sum([self._costs[k] for k in trusted], axis=0))

    def laid(self, shapes: tuple[Shape, Shape]) -> list[Laid]:
        """Each clip on its plate by these shapes."""
        return self._by(shapes)[0]

    def lines(self, shapes: tuple[Shape, Shape]) -> list[FLOATS]:
        """For each clip (2, F) f of lead and trail foot about its mean, at the clip's own lag."""
        return self._by(shapes)[1]

    def products(self, shapes: tuple[Shape, Shape]) -> FLOATS:
        """(clips, 2, 2) of each foot at its clip's own lag: squares of f, and of f with the rise."""
        return self._by(shapes)[2]

    def _by(self, shapes: tuple[Shape, Shape]) -> tuple[list[Laid], list[FLOATS], FLOATS]:
        if shapes not in self._made:
            pairs = list(zip(self._clips, self._plates, strict=True))
            lying = [laid(clip, plate, shapes, self._lags, self._loose_s) for clip, plate in pairs]
            lines = [_lines(*pair, found, shapes) for pair, found in zip(pairs, lying, strict=True)]
            products = [_products(clip, both) for clip, both in zip(self._clips, lines, strict=True)]
            self._made[shapes] = lying, lines, np.array(products)
        return self._made[shapes]


def gains(products: FLOATS, noise: float) -> tuple[FLOATS, FLOATS]:
    """(2,) b ≥ 0 of lead and trail foot that clips together teach, and the variance of each.

    `products` (clips, 2, 2) of `Overlays.products`, `noise` mm² a value. A heel that hardly moves
    teaches little.
    """
    square, rise = np.maximum(products[..., 0].sum(axis=0), 1e-9), products[..., 1].sum(axis=0)
    return np.maximum(rise / square, 0.0), noise / square


def _lines(clip: Filmed, plate: FLOATS, found: Laid, shapes: Sequence[Shape]) -> FLOATS:
    made = []
    for seen, line, shape in zip(clip.feet, plate, shapes, strict=True):
        places = found.step + FINE * np.arange(seen.values.size)
        value = np.interp(places, np.arange(line.size), shaped(line, shape))
        made.append(value - seen.weight @ value / max(float(seen.weight.sum()), 1.0))
    return np.array(made)


def _products(clip: Filmed, lines: FLOATS) -> list[tuple[float, float]]:
    """Weighted squares of each foot's line, and of the line with the rise."""
    return [
        (float(seen.weight @ line**2), float((seen.weight * line) @ seen.values))
        for seen, line in zip(clip.feet, lines, strict=True)
    ]
