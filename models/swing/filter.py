"""Zero-phase Butterworth low-pass: second order, run forward and back, four signals at a time.

The cut-off is the one of the *two passes together*: each pass is made wider by 1 / C, C = (√2 − 1)^¼ = 0.802,
so that the gain at the wanted cut-off after both is 1/√2 (Winter, Biomechanics and Motor Control of Human
Movement, from memory). The ends are padded by odd reflection about the end sample: a level passes unchanged,
and a straight ramp to a fiftieth of a sample, so address and finish values do not move.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.swing.compiled import compiled
from warehouse.errors import UnderfootError

FLOATS = NDArray[np.float64]
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
def _sweep(lanes: FLOATS, first: int, step: int, count: int, b0: float, a1: float, a2: float) -> None:
    """One pass over `count` samples of four lanes from `first` by `step`, in place, at rest on the first.

    Written out lane by lane so that the four independent recursions overlap in the processor.
    """
    p, q, r, s = lanes[0], lanes[1], lanes[2], lanes[3]
    px1 = px2 = py1 = py2 = p[first]
    qx1 = qx2 = qy1 = qy2 = q[first]
    rx1 = rx2 = ry1 = ry2 = r[first]
    sx1 = sx2 = sy1 = sy2 = s[first]
    k = first
    for _ in range(count):
        px0, qx0, rx0, sx0 = p[k], q[k], r[k], s[k]
        py0 = (b0 * (px0 + 2.0 * px1 + px2) - a2 * py2) - a1 * py1
        qy0 = (b0 * (qx0 + 2.0 * qx1 + qx2) - a2 * qy2) - a1 * qy1
        ry0 = (b0 * (rx0 + 2.0 * rx1 + rx2) - a2 * ry2) - a1 * ry1
        sy0 = (b0 * (sx0 + 2.0 * sx1 + sx2) - a2 * sy2) - a1 * sy1
        px2, qx2, rx2, sx2 = px1, qx1, rx1, sx1
        px1, qx1, rx1, sx1 = px0, qx0, rx0, sx0
        py2, qy2, ry2, sy2 = py1, qy1, ry1, sy1
        py1, qy1, ry1, sy1 = py0, qy0, ry0, sy0
        p[k], q[k], r[k], s[k] = py0, qy0, ry0, sy0
        k += step


@compiled
def _sweep_two(lanes: FLOATS, first: int, step: int, count: int, b0: float, a1: float, a2: float) -> None:
    """The same for the first two lanes alone."""
    p, q = lanes[0], lanes[1]
    px1 = px2 = py1 = py2 = p[first]
    qx1 = qx2 = qy1 = qy2 = q[first]
    k = first
    for _ in range(count):
        px0, qx0 = p[k], q[k]
        py0 = (b0 * (px0 + 2.0 * px1 + px2) - a2 * py2) - a1 * py1
        qy0 = (b0 * (qx0 + 2.0 * qx1 + qx2) - a2 * qy2) - a1 * qy1
        px2, qx2, px1, qx1 = px1, qx1, px0, qx0
        py2, qy2, py1, qy1 = py1, qy1, py0, qy0
        p[k], q[k] = py0, qy0
        k += step


@compiled
def lowpass_lanes(lanes: FLOATS, used: int, pad: int, samples: int, cutoff_hz: float, rate_hz: float) -> None:
    """Filter the first `used` (2 or 4) lanes in place: sample k is lanes[lane, pad + k].

    `lanes` is (4, ≥ samples + 2·pad). Left as it is when the rate is under 2.5 × the cut-off or there are
    under two samples. NaN spreads over its own lane, so gaps are bridged before.
    """
    if samples < 2 or rate_hz < LEAST_RATE * cutoff_hz:
        return
    last = pad + samples - 1
    for lane in range(used):
        for i in range(1, pad + 1):
            lanes[lane, pad - i] = 2.0 * lanes[lane, pad] - lanes[lane, pad + i]
            lanes[lane, last + i] = 2.0 * lanes[lane, last] - lanes[lane, last - i]
    b0, a1, a2 = coefficients(cutoff_hz, rate_hz)
    count = samples + 2 * pad
    if used == 4:
        _sweep(lanes, 0, 1, count, b0, a1, a2)
        _sweep(lanes, count - 1, -1, count, b0, a1, a2)
    else:
        _sweep_two(lanes, 0, 1, count, b0, a1, a2)
        _sweep_two(lanes, count - 1, -1, count, b0, a1, a2)


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
        >>> round(float(lowpass([3.0] * 50, 20.0, 500.0)[0]), 9)
        3.0
    """
    signal = np.asarray(values, dtype=np.float64)
    if signal.ndim != 1 or not np.isfinite(signal).all():
        raise UnderfootError("Only one row of finite numbers can be filtered; bridge the gaps first.")
    pad = padding(cutoff_hz, rate_hz, signal.size)
    lanes = np.zeros((4, signal.size + 2 * pad))
    lanes[0, pad : pad + signal.size] = signal
    lowpass_lanes(lanes, 2, pad, signal.size, cutoff_hz, rate_hz)
    return lanes[0, pad : pad + signal.size].copy()
