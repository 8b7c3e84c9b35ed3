"""Variance parts for too few students to fit them on, from what other academies lend.

Up to four students don't say how much players usually differ, so they have no line of their own. Draws of the
variance parts that other academies fitted to the same measure (mixed.py) serve as the prior here: they are
widened, since academies differ, and weighted by how likely they make the sessions seen here
(sampling–importance resampling: Smith & Gelfand 1992, Am Stat 46). Mean, slope and device offsets are
estimated from this academy's own sessions.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from models.season.importance import EXPONENTS, RHO, SDS, resampled
from models.season.kernel import FLOATS
from models.season.mixed import KEPT_DRAWS, Cell, Posterior, Scales, likelihood, natural, posterior_given

# How far apart academies are, in log sds, exponents and atanh ρ: each part by itself, and all spreads
# together with heavy tails, since one academy may be quite unlike the others. Common practice, no source.
APART, ALL_APART, TAIL = 0.3, 0.5, 3.0
TRIED = 960
LEAST_EFFECTIVE = 20.0  # draws: with fewer, what is lent does not fit this academy


@dataclass(frozen=True)
class Loan:
    """What other academies lend for one metric and club family: draws of the variance parts (D, PARTS)."""

    academies: int
    parts: FLOATS


def lent_posterior(cell: Cell, lent: FLOATS) -> Posterior | None:
    """The posterior of the variance parts when (D, PARTS) draws of other academies are their prior.

    None when hardly any draw makes these sessions likely: this academy is not like those that lend.
    """
    rng = np.random.default_rng(20261130)
    logs = _unbounded(lent[np.arange(TRIED) % len(lent)])
    logs += APART * rng.standard_normal(logs.shape)
    logs[:, SDS] += ALL_APART * rng.standard_t(TAIL, (TRIED, 1))
    parts = natural(logs, Scales(1.0, 1.0, 1.0))
    found = np.nan_to_num(likelihood(cell, parts)[0], nan=-np.inf)
    if not np.isfinite(found.max()):
        return None
    weight = special.softmax(found)
    effective = float(1 / np.sum(weight**2))
    if effective < LEAST_EFFECTIVE:
        return None
    return posterior_given(cell, parts[resampled(logs, weight, KEPT_DRAWS)], effective)


def _unbounded(parts: FLOATS) -> FLOATS:
    """(D, PARTS) what `natural` makes these parts of, in the data's units; the log of an sd of 0 is −∞."""
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(parts)
    logs[:, RHO], logs[:, EXPONENTS] = np.arctanh(parts[:, RHO]), parts[:, EXPONENTS]
    return np.asarray(logs)
