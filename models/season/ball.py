"""What goes together with the ball: session means of a metric beside the session's carry and spread.

`ball_link_rows` returns rows of season.ball_link. Always within a student, and never as a cause: a third
thing may move both. Putting, other paces than full and swings without a ball result are left out.
"""

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from models.season.estimation import q_of_p
from models.season.kernel import FLOATS
from models.sql import query
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import GOES_TOGETHER, NOT_CLEAR, TOO_FEW

KEYS = ["season", "student", "club_family", "metric", "outcome"]
LEAST_SESSIONS = 6
LEAST_Q = 0.10


def ball_link_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.ball_link."""
    return ball_links(writer.sql(query("season.ball_pair")))


def within_slope(x: FLOATS, y: FLOATS, owner: NDArray[Any]) -> tuple[float, float, int]:
    """Slope of y on x about each owner's own means, its standard error and degrees of freedom.

    b = Σx̃ỹ/Σx̃², se² = Σ(ỹ − bx̃)²/(N − groups − 1)/Σx̃²: fixed effects, one x. NaN where x does not vary or no
    degree of freedom is left.
    """
    groups, at = np.unique(owner, return_inverse=True)
    size = np.bincount(at)
    dx, dy = (v - (np.bincount(at, v) / size)[at] for v in (x, y))
    freedom = x.size - groups.size - 1
    sxx = float(dx @ dx)
    if freedom < 1 or sxx <= 1e-12 * float(x @ x):
        return float("nan"), float("nan"), max(freedom, 0)
    slope = float(dx @ dy) / sxx
    left = dy - slope * dx
    return slope, float(np.sqrt(left @ left / freedom / sxx)), freedom


def ball_links(pairs: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.ball_link from one row per KEYS and session with `mean`, `measured_by` and `value`.

    Sessions are compared with those measured in the same way (device, heels measured or estimated), so that
    another plate is no change. `per_sd` = slope · sd of the student's session means about those of the plate,
    its 90 % interval by t with n − plates − 1 degrees. A
    student has a dozen metrics, so p goes through Benjamini-Hochberg over the student's rows of one outcome,
    and "goes_together" needs q ≤ 0.10. Under six sessions nothing is claimed.
    """
    found = [
        (
            *(str(value) for value in key),
            *_link(own["mean"].to_numpy(), own["value"].to_numpy(), own["measured_by"].to_numpy()),
        )
        for key, own in pairs.group_by(KEYS, maintain_order=True)
    ]
    schema = columns("season.ball_link")
    if not found:
        return pl.DataFrame(schema=schema)
    names = (*KEYS, "n_sessions", "per_sd", "lo", "hi", "p")
    rows = pl.DataFrame(found, {name: schema[name] for name in names}, orient="row").sort(KEYS)
    family = pl.struct("season", "student", "outcome")
    label = (
        pl.when(pl.col("n_sessions") < LEAST_SESSIONS).then(pl.lit(TOO_FEW))
        .when(pl.col("q") <= LEAST_Q).then(pl.lit(GOES_TOGETHER)).otherwise(pl.lit(NOT_CLEAR))
    )  # fmt: skip
    return (
        rows.with_columns(q=q_of_p().over(family))
        .with_columns(pl.col("per_sd", "lo", "hi", "p", "q").fill_nan(None))
        .with_columns(label=label)
        .select(schema.keys())
    )


def _link(x: FLOATS, y: FLOATS, owner: NDArray[Any]) -> tuple[int, float, float, float, float]:
    """Sessions, change of y per sd of x, its interval and p; NaN under six sessions or without variance."""
    nothing = (x.size, *(float("nan"),) * 4)
    if x.size < LEAST_SESSIONS:
        return nothing
    slope, se, freedom = within_slope(x, y, owner)
    if not (np.isfinite(slope) and se > 0):
        return nothing
    groups, at = np.unique(owner, return_inverse=True)
    about = x - (np.bincount(at, x) / np.bincount(at))[at]
    sd = float(np.sqrt(about @ about / (x.size - groups.size)))
    half = float(stats.t.ppf(0.95, freedom)) * se
    p = float(2 * stats.t.sf(abs(slope) / se, freedom))
    return x.size, slope * sd, (slope - half) * sd, (slope + half) * sd, p
