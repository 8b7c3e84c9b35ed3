"""Sessions of swings on a plate and of films in a phone, with the times their files bear.

Written from a description of what phones and plates do, without sight of what judges them.
"""

from dataclasses import dataclass

import numpy as np


@dataclass
class Session:
    """One session: `impact_s` of every swing (S,), `film_of` (F,) the swing each film is said to be of,
    `truth` (F,) the swing it shows or -1, `stamp_s` (F,) the time in its file, `strike_s` (F,) when it shows its strike, from its start."""

    impact_s: np.ndarray
    film_of: np.ndarray
    truth: np.ndarray
    stamp_s: np.ndarray
    strike_s: np.ndarray


def session(
    rng, swings=10, films=None, *, offset_s=None, stamps="end", phones=1, copied=False, wrong=None
) -> Session:
    """`stamps`: whether a phone writes the start or the end of recording. `copied`: all times are of one copying.
    `wrong`: None, "exchanged" or "hour_before"."""
    gaps = rng.gamma(4.0, 9.0, swings) + 12.0
    impact = 1_790_000_000.0 + rng.uniform(0, 86_400) + np.cumsum(gaps)
    shown = np.sort(rng.choice(swings, films or swings, replace=False))
    before, after = rng.uniform(1.5, 6.0, len(shown)), rng.uniform(1.0, 4.0, len(shown))
    offsets = np.resize(
        np.atleast_1d(rng.uniform(-7200, 7200, phones) if offset_s is None else offset_s), phones
    )
    phone = rng.integers(phones, size=len(shown))
    recorded = impact[shown] + (after if stamps == "end" else -before)
    if copied:
        recorded = impact[-1] + 3600 + np.cumsum(rng.uniform(0.2, 3.0, len(shown)))
    truth = shown.copy()
    if wrong == "exchanged":
        a, b = rng.choice(len(shown), 2, replace=False)
        for values in (truth, recorded, before, after):
            values[[a, b]] = values[[b, a]]
    if wrong == "hour_before":
        a = rng.integers(len(shown))
        truth[a], recorded[a] = -1, impact[0] - rng.uniform(600, 3600)
    return Session(impact, shown, truth, np.floor(recorded + offsets[phone]), before)
