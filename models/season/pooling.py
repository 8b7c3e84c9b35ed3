"""Several estimates together: shrunk toward their mean, and which of them differ from nothing.

Random-effects pooling after DerSimonian & Laird, and the false discovery rate of Benjamini & Hochberg.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from models.season.kernel import FLOATS


@dataclass(frozen=True)
class Pool:
    """Mean of several effects, its standard error, the variance between them (≥ 0), and Cochran's Q."""

    mean: float
    se: float
    tau2: float
    q: float


def dersimonian_laird(effect: FLOATS, se: FLOATS) -> Pool:
    """Pool (K,) effects with known standard errors; K ≥ 1, every se > 0.

    τ² = max(0, (Q − (K − 1)) / (Σw − Σw²/Σw)), w = 1/se², Q = Σw·(effect − Σw·effect/Σw)². The mean is
    weighted by 1/(se² + τ²). Source: DerSimonian & Laird 1986, Control Clin Trials 7.
    """
    w = 1 / se**2
    fixed = float(np.sum(w * effect) / np.sum(w))
    q = float(np.sum(w * (effect - fixed) ** 2))
    room = float(np.sum(w) - np.sum(w**2) / np.sum(w))
    tau2 = max(0.0, (q - (effect.size - 1)) / room) if room > 0 else 0.0
    w = 1 / (se**2 + tau2)
    return Pool(float(np.sum(w * effect) / np.sum(w)), float(np.sum(w) ** -0.5), tau2, q)


def shrink_to_mean(effect: FLOATS, se: FLOATS) -> tuple[FLOATS, FLOATS]:
    """Each effect shrunk toward the mean of all by τ²/(τ² + se²), and its standard error; (K,) each.

    The uncertainty of the mean is included: var = B·se² + (1 − B)²·se_mean², B = τ²/(τ² + se²). With
    τ² = 0 every effect is the mean.
    """
    pool = dersimonian_laird(effect, se)
    own = pool.tau2 / (pool.tau2 + se**2)
    near = pool.mean + own * (effect - pool.mean)
    return near, np.sqrt(own * se**2 + (1 - own) ** 2 * pool.se**2)


def false_discovery(p: FLOATS) -> FLOATS:
    """The q of each two-sided p, NaN where p is NaN. Source: Benjamini & Hochberg 1995, J R Stat Soc B 57."""
    q = np.full(p.shape, np.nan)
    known = np.isfinite(p)
    if known.any():
        q[known] = stats.false_discovery_control(p[known])
    return q
