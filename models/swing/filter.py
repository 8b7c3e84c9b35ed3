"""Zero-phase Butterworth low-pass: second order, run forward and back, four signals at a time.

The cut-off is the one of the *two passes together*: each pass is made wider by 1 / C, C = (√2 − 1)^¼ = 0.802,
so that the gain at the wanted cut-off after both is 1/√2 (Winter, Biomechanics and Motor Control of Human
Movement, from memory). The ends are padded by odd reflection about the end sample (a constant and a straight
ramp pass through unchanged, so address and finish values do not move).
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.swing.compiled import compiled
from warehouse.errors import UnderfootError

TWO_PASS = (math.sqrt(2.0) - 1.0) ** 0.25
"""C: cut-off of a doubled second-order Butterworth over the cut-off of one pass."""
LEAST_RATE = 2.5
"""A signal is filtered only when the sample rate is at least this many times the cut-off."""


@compiled
def coefficients(cutoff_hz: float, rate_hz: float) -> tuple[float, float, float]:
    """Return (b0, a1, a2) of one pass; b1 = 2·b0, b2 = b0, a0 = 1, unit gain at 0 Hz.

    The corrected cut-off is f′ = (fs/π)·atan(tan(π·fc/fs)/C), i.e. the bilinear transform's
    K = tan(π·f′/fs) = tan(π·fc/fs)/C.
    """
    k = math.tan(math.pi * cutoff_hz / rate_hz) / TWO_PASS
    scale = 1.0 / (1.0 + math.sqrt(2.0) * k + k * k)
    return k * k * scale, 2.0 * (k * k - 1.0) * scale, (1.0 - math.sqrt(2.0) * k + k * k) * scale


@compiled
def padding(cutoff_hz: float, rate_hz: float, samples: int) -> int:
    """Samples of padding at each end: one period of the cut-off, at most the signal less one."""
    return max(min(samples - 1, math.ceil(rate_hz / cutoff_hz)), 0)


@compiled
def _sweep(
    buf: NDArray[np.float64], first: int, step: int, count: int, b0: float, a1: float, a2: float
) -> None:
    """One pass over `count` rows from `first` by `step`, in place, at rest on the first row.

    Written out lane by lane so that the four independent recursions overlap in the processor.
    """
    x10 = x20 = y10 = y20 = buf[first, 0]
    x11 = x21 = y11 = y21 = buf[first, 1]
    x12 = x22 = y12 = y22 = buf[first, 2]
    x13 = x23 = y13 = y23 = buf[first, 3]
    row = first
    for _ in range(count):
        v0, v1, v2, v3 = buf[row, 0], buf[row, 1], buf[row, 2], buf[row, 3]
        r0 = (b0 * (v0 + 2.0 * x10 + x20) - a2 * y20) - a1 * y10
        r1 = (b0 * (v1 + 2.0 * x11 + x21) - a2 * y21) - a1 * y11
        r2 = (b0 * (v2 + 2.0 * x12 + x22) - a2 * y22) - a1 * y12
        r3 = (b0 * (v3 + 2.0 * x13 + x23) - a2 * y23) - a1 * y13
        x20, x21, x22, x23 = x10, x11, x12, x13
        x10, x11, x12, x13 = v0, v1, v2, v3
        y20, y21, y22, y23 = y10, y11, y12, y13
        y10, y11, y12, y13 = r0, r1, r2, r3
        buf[row, 0], buf[row, 1], buf[row, 2], buf[row, 3] = r0, r1, r2, r3
        row += step


@compiled
def lowpass_rows(buf: NDArray[np.float64], pad: int, samples: int, cutoff_hz: float, rate_hz: float) -> None:
    """Filter four lanes in place: sample k stands in row pad + k of `buf`, shape (≥ samples + 2·pad, 4).

    Left as it is when the rate is under 2.5 × the cut-off or there are under two samples. NaN spreads over
    its own lane, so gaps are bridged before.
    """
    if samples < 2 or rate_hz < LEAST_RATE * cutoff_hz:
        return
    last = pad + samples - 1
    for i in range(1, pad + 1):
        for lane in range(4):
            buf[pad - i, lane] = 2.0 * buf[pad, lane] - buf[pad + i, lane]
            buf[last + i, lane] = 2.0 * buf[last, lane] - buf[last - i, lane]
    b0, a1, a2 = coefficients(cutoff_hz, rate_hz)
    count = samples + 2 * pad
    _sweep(buf, 0, 1, count, b0, a1, a2)
    _sweep(buf, count - 1, -1, count, b0, a1, a2)


def lowpass(values: ArrayLike, cutoff_hz: float, rate_hz: float) -> NDArray[np.float64]:
    """One filtered signal: the same filter as the kernel's, for tests, holds and pictures.

    Args:
        values: (n,) without NaN.
        cutoff_hz: the cut-off after both passes, Hz.
        rate_hz: sample rate, Hz.

    Returns:
        (n,) float64; unchanged when rate_hz < 2.5·cutoff_hz.

    Raises:
        UnderfootError: the values are not one row of finite numbers.

    Example:
        >>> lowpass([3.0] * 50, 20.0, 500.0)[0]
        3.0
    """
    signal = np.asarray(values, dtype=np.float64)
    if signal.ndim != 1 or not np.isfinite(signal).all():
        raise UnderfootError("Only one row of finite numbers can be filtered; bridge the gaps first.")
    pad = padding(cutoff_hz, rate_hz, signal.size)
    rows = np.zeros((signal.size + 2 * pad, 4))
    rows[pad : pad + signal.size, 0] = signal
    lowpass_rows(rows, pad, signal.size, cutoff_hz, rate_hz)
    return rows[pad : pad + signal.size, 0].copy()
