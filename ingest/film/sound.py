"""The strike of the ball in a film's own sound: when something clicks, on the clock of the film's pictures.

A club on a ball is a click: sound over 1 kHz that stands out from the noise just before it within a few
milliseconds, and rings off. Wind and voices swell; an echo follows a louder click and is taken with it. A
neighbour's ball clicks too: clicks over a third as loud as the loudest are all given, in order, and which is
this swing's is not decided here. Limits are common practice, no source.
"""

from itertools import chain
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from ingest.film.pictures import first_shown_s

FLOATS = NDArray[np.float64]
RATE_HZ = 24_000
ABOVE_HZ = 1_000.0
SETTLE = 240  # samples put before the first, for the filter to settle: a film begun in the wind is no click
BLOCK = 24  # samples, 1 ms
NOISE_BLOCKS = 150  # before a click
QUIET_BLOCKS = 4  # between that noise and the click, in which a codec may smear it
STANDS_OUT, LEAST_LOUD = 10.0, 0.01  # times the noise; of full scale
ECHO_BLOCKS = 150  # after a click, in which quieter ones are its echoes
AS_LOUD = 1 / 3  # of the loudest
FIRST = 0.25  # of a click's own height, at which it begins


def clicks_s(path: Path) -> tuple[float, ...] | None:
    """When a film's sound clicks, s after its first picture; None where it has no sound that can be read."""
    try:
        first_s = first_shown_s(path)
        with av.open(str(path), mode="r") as film:
            if not film.streams.audio or first_s is None:
                return None
            resampler = av.AudioResampler(format="flt", layout="mono", rate=RATE_HZ)
            parts: list[FLOATS] = []
            begin_s: float | None = None
            for frame in chain(film.decode(film.streams.audio[0]), [None]):  # None: what is left in it
                begin_s = frame.time if begin_s is None and frame is not None else begin_s
                parts += [one.to_ndarray()[0].astype(np.float64) for one in resampler.resample(frame)]
    except (av.error.FFmpegError, ValueError):
        return None
    if begin_s is None or not parts:
        return None
    return tuple(begin_s - first_s + at for at in clicks_in(np.concatenate(parts)))


def clicks_in(sound: FLOATS) -> list[float]:
    """When a sound (N,), −1 to 1 at 24 kHz, clicks, s after its first sample."""
    count = sound.size // BLOCK
    if count <= NOISE_BLOCKS // 3:
        return []
    led_in = np.pad(sound, (SETTLE, 0), mode="reflect", reflect_type="odd")
    high = sosfilt(butter(4, ABOVE_HZ, "highpass", fs=RATE_HZ, output="sos"), led_in)[SETTLE:]
    blocks = np.abs(high[: count * BLOCK]).reshape(-1, BLOCK)
    loud = np.sqrt((blocks**2).mean(axis=1))
    before = np.pad(loud, (NOISE_BLOCKS + QUIET_BLOCKS, 0), mode="reflect")[: count + NOISE_BLOCKS - 1]
    noise = np.median(np.lib.stride_tricks.sliding_window_view(before, NOISE_BLOCKS), axis=1)
    stands = (loud > STANDS_OUT * noise) & (loud > LEAST_LOUD)
    found: list[tuple[float, float]] = []  # loudness, s
    k = 0
    while k < count:
        if not stands[k]:
            k += 1
            continue
        peak = float(loud[k : k + 6].max())
        near = np.abs(high[max(k - 2, 0) * BLOCK : (k + 6) * BLOCK])
        first = int(np.argmax(near > FIRST * near.max()))
        at_s = (max(k - 2, 0) * BLOCK + first) / RATE_HZ
        if not found or peak > found[-1][0] or at_s - found[-1][1] > ECHO_BLOCKS * BLOCK / RATE_HZ:
            found.append((peak, at_s))
        k += 6
        while k < count and stands[k] and loud[k] < peak:
            k += 1
    loudest = max((peak for peak, _ in found), default=0.0)
    return [at_s for peak, at_s in found if peak >= AS_LOUD * loudest]
