"""A course seen in pictures laid over a line sampled elsewhere, at every lag at once.

The course is thinned to about 60 values a second by means of neighbouring pictures, each weighed by how many
of them saw something; the line is drawn `FINE` times as densely and held at its ends. Sums over all lags are
products of Fourier transforms. At each lag the course is fitted as c + b·line with b ≥ 0, by least squares,
so the least squares stand where the normalised cross-correlation r is highest:

    E(lag) = S·(1 − r²),   S the squares of the course about its mean.

The lag is refined below a step by a parabola; its standard error is that of least squares, from the curvature
there: SE = √(2·s² / E″), s² = E / (values − 4).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

FLOATS = NDArray[np.float64]
TERMS = NDArray[np.complex128]
COARSE_HZ = 60.0
FINE = 2
LEAST_OVERLAP = 0.6  # of the shorter of course and line


@dataclass(frozen=True)
class Seen:
    """A thinned course: value k stands at start_s + k / hz of its own clock."""

    values: FLOATS  # (F,) about their mean, 0 where nothing was seen
    weight: FLOATS  # (F,) pictures that saw it
    hz: float
    start_s: float

    @property
    def squares(self) -> float:
        """Weighted squares about the mean, S."""
        return float(self.weight @ self.values**2)

    @property
    def count(self) -> int:
        """Values with weight."""
        return int((self.weight > 0.0).sum())


def thinned(course: FLOATS, fps: float, hz: float = COARSE_HZ) -> Seen:
    """Thin a course (F,), NaN where not seen, to about `hz` values a second."""
    every = max(round(fps / hz), 1)
    blocks = course[: course.size // every * every].reshape(-1, every)
    seen = np.isfinite(blocks)
    weight = seen.sum(axis=1).astype(np.float64)
    means = np.where(seen, blocks, 0.0).sum(axis=1) / np.maximum(weight, 1.0)
    if weight.sum() > 0.0:
        means = np.where(weight > 0.0, means - weight @ means / weight.sum(), 0.0)
    return Seen(means, weight, fps / every, (every - 1) / 2 / fps)


def drawn(line: FLOATS, rate_hz: float, hz: float) -> FLOATS:
    """A line (N,) drawn at FINE · hz samples a second from its first sample on."""
    places = np.arange(int((line.size - 1) / rate_hz * hz * FINE + 1e-9) + 1) / (hz * FINE) * rate_hz
    return np.interp(places, np.arange(line.size), line)


class Lags:
    """Every lag, in steps of 1 / (FINE · hz), of courses on lines of these numbers of values and samples."""

    def __init__(self, frames: Sequence[int], samples: Sequence[int]) -> None:
        reach, self._samples = max(frames) * FINE, max(samples)
        least = int(LEAST_OVERLAP * min(min(frames) * FINE, *samples))
        self._front = reach - least
        self.steps: NDArray[np.int64] = np.arange(-self._front, self._samples - least + 1)
        self._size = next_fast_len(self._samples + 2 * self._front, real=True)

    def line(self, values: FLOATS) -> TERMS:
        """Transform of lines (…, n), held at their ends."""
        after = self._samples - values.shape[-1] + self._front
        held = np.pad(values, [(0, 0)] * (values.ndim - 1) + [(self._front, after)], mode="edge")
        return np.asarray(rfft(held, self._size, axis=-1))

    def kernel(self, weights: FLOATS) -> TERMS:
        """Transform of what the lines are summed with, (F,)."""
        spread = np.zeros((weights.size, FINE))
        spread[:, 0] = weights
        return np.asarray(np.conj(rfft(spread.ravel(), self._size)))

    def sums(self, lines: TERMS, kernel: TERMS) -> FLOATS:
        """(…, L) Σ_f kernel_f · line at lag + f, for every lag."""
        made = np.asarray(irfft(lines * kernel, self._size, axis=-1))
        return made[..., : self.steps.size]

    def too_far(self, frames: int, samples: int) -> NDArray[np.bool_]:
        """(L,) lags at which course and line share less than 60 % of the shorter."""
        reach = frames * FINE
        least = int(LEAST_OVERLAP * min(reach, samples))
        return (self.steps < least - reach) | (self.steps > samples - least)


def left_over(seen: Seen, lines: FLOATS, lags: Lags) -> FLOATS:
    """(…, L) squares of the course that c + b·line, b ≥ 0, leaves at every lag; inf where they lie too far.

    `lines` are (…, n).
    """
    total = float(seen.weight.sum())
    far = lags.too_far(seen.values.size, lines.shape[-1])
    if total == 0.0:
        return np.broadcast_to(np.where(far, np.inf, 0.0), (*lines.shape[:-1], far.size))
    centred = lines - lines.mean(axis=-1, keepdims=True)  # keeps the sums of squares small
    plain, weight = lags.line(centred), lags.kernel(seen.weight)
    spread = lags.sums(lags.line(centred**2), weight) - lags.sums(plain, weight) ** 2 / total
    shared = np.maximum(lags.sums(plain, lags.kernel(seen.weight * seen.values)), 0.0)
    moves = spread > 1e-9 * total
    left = seen.squares - np.where(moves, shared**2 / np.where(moves, spread, 1.0), 0.0)
    return np.where(far, np.inf, left)


def lowest(values: FLOATS) -> tuple[float, float, float]:
    """Place of the least value, below a step by a parabola; the second difference there; the least value."""
    k = int(np.argmin(values))
    here = float(values[k])
    before, after = (float(values[at]) if 0 <= at < values.size else math.inf for at in (k - 1, k + 1))
    if math.isinf(before + after):
        return float(k), 0.0, here
    curve = before - 2.0 * here + after
    if not curve > 0.0:
        return float(k), 0.0, here
    return k + 0.5 * (before - after) / curve, curve, here - (before - after) ** 2 / (8.0 * curve)


def standard_error(least: float, curve: float, values: int, step_s: float) -> float:
    """SE of a lag, s, from the squares left at their least and their second difference; inf without a dip."""
    return step_s * math.sqrt(2.0 * max(least, 0.0) / max(values - 4, 1) / curve) if curve > 0.0 else math.inf
