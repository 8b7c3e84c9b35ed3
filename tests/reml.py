"""The plain restricted-likelihood fit of the product's likelihood, to compare with published fits and programs."""

from dataclasses import dataclass

import numpy as np

from models.season.importance import maximise
from models.season.kernel import FLOATS
from models.season.mixed import Cell, Scales, likelihood, natural


@dataclass(frozen=True)
class RemlFit:
    """Restricted-likelihood estimates: variance parts (5,), fixed effects and covariance, log likelihood."""

    parts: FLOATS
    gamma: FLOATS
    cov: FLOATS
    log_likelihood: float


def fit_reml(cell: Cell, *, slopes: bool = True) -> RemlFit:
    """Plain restricted maximum likelihood without wandering and without priors.

    `slopes` False: random intercepts only. Made for comparison with published fits and other programs.
    """
    by = Scales(float(np.std(cell.y)), max(float(np.max(cell.t)), 1e-9), float(np.std(cell.y)))

    def parts_of(phi: FLOATS) -> FLOATS:
        full = np.full((len(phi), 5), -np.inf)
        full[:, [0, 1, 2, 3] if slopes else [0, 3]] = phi
        if not slopes:
            full[:, 2] = 0.0
        return natural(full, by)

    start = np.array([-1.0, -1.5, 0.0, -1.0]) if slopes else np.array([-1.0, -1.0])
    at, _, top = maximise(lambda phi: likelihood(cell, parts_of(phi))[0], start, lowest=-9.0)
    _, gammas, covs = likelihood(cell, parts_of(at[None]))
    return RemlFit(parts_of(at[None])[0], gammas[0], covs[0], top)
