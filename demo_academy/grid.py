"""Noise-free signals of planted swings on a fine grid, and what is asked of them at events and in windows."""

from dataclasses import dataclass

import numpy as np

from demo_academy.curves import Array

STEP_S = 0.002
INF = np.inf
FEET = ("lead", "trail")


@dataclass(frozen=True)
class Grid:
    """Noise-free signals (S, N) on a grid of `STEP_S`, with event indices (S,)."""

    time: Array
    signals: dict[str, Array]
    events: dict[str, Array]

    def at(self, values: Array, event: str, half_s: float = 0.010) -> Array:
        """Mean within ± half_s of an event, (S,)."""
        middle = np.rint(self.events[event] / STEP_S).astype(int)
        reach = round(half_s / STEP_S)
        last = values.shape[1] - 1
        index = np.clip(middle[:, None] + np.arange(-reach, reach + 1), 0, last)
        return np.take_along_axis(values, index, 1).mean(axis=1)

    def within(self, first: str | Array, last: str | Array) -> Array:
        """Mask (S, N) of the samples from one event (or time) to another, ends included."""
        start = self.events[first] if isinstance(first, str) else first
        stop = self.events[last] if isinstance(last, str) else last
        return (self.time >= start[:, None] - 1e-9) & (self.time <= stop[:, None] + 1e-9)


def moving_mean(values: Array, width_s: float) -> Array:
    """Centred mean over width_s, (S, N); the ends see a shorter window."""
    half = round(width_s / STEP_S / 2)
    total = np.cumsum(np.pad(values, ((0, 0), (half + 1, half)), mode="edge"), axis=1)
    return (total[:, 2 * half + 1 :] - total[:, : -2 * half - 1]) / (2 * half + 1)


def most(values: Array, mask: Array) -> Array:
    """Highest value of each row where the mask is true."""
    return np.where(mask, values, -INF).max(axis=1)


def least(values: Array, mask: Array) -> Array:
    """Lowest value of each row where the mask is true."""
    return np.where(mask, values, INF).min(axis=1)
