"""What goes together with the ball: a swing's metric beside the same swing's carry and distance to the side.

`ball_link_rows` returns rows of season.ball_link. Always within a session, and never as a cause: a third
thing may move both. Putting, other paces than full and swings without a ball result are left out.
"""

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from models.season.estimation import holm, q_of_p
from models.season.kernel import FLOATS
from models.sql import query
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import GOES_TOGETHER, NOT_CLEAR, TOO_FEW

KEYS = ["season", "student", "club_family", "metric", "outcome"]
LEAST_SESSIONS = 6
MOST_Q = 0.10


def ball_link_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.ball_link."""
    return ball_links(writer.sql(query("season.ball_pair")))


def within(v: FLOATS, group: NDArray[np.int_], order: FLOATS | None = None) -> FLOATS:
    """What is left of v without its group's mean; with `order`, without a line in it fitted to each group."""
    size = np.bincount(group)
    about = v - (np.bincount(group, v) / size)[group]
    if order is None:
        return about
    place = within(order, group)
    tilt = np.bincount(group, about * place) / np.bincount(group, place * place)
    return about - tilt[group] * place


def within_slope(x: FLOATS, y: FLOATS, lost: int) -> tuple[float, float, int]:
    """Slope of y on x, its standard error and degrees of freedom; of what `within` left, at a cost of `lost`.

    b = Σxy/Σx², se² = Σ(y − bx)²/(N − lost − 1)/Σx²: fixed effects, one x. NaN where x does not vary or
    no degree of freedom is left.
    """
    freedom = x.size - lost - 1
    sxx = float(x @ x)
    if freedom < 1 or sxx <= 1e-12 * x.size:
        return float("nan"), float("nan"), max(freedom, 0)
    slope = float(x @ y) / sxx
    left = y - slope * x
    return slope, float(np.sqrt(left @ left / freedom / sxx)), freedom


def ball_links(pairs: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.ball_link from rows of season.ball_pair.

    A swing is compared with the others of its session, with the same club and measured in the same way: what
    drifts over the season, another club or another plate is no link. A straight line over each session is
    first taken out of measure and ball, so that neither is what both do as a player warms up or tires.
    `per_sd` = slope · sd of the measure about those lines; its 90 % interval is by t with N − 2 groups − 1
    degrees of freedom. p goes through Holm's step down over the student's rows of the season, so that one
    student in ten at most has a link by chance. Under six sessions nothing is claimed.
    """
    schema = columns("season.ball_link")
    names = (*KEYS, "n_sessions", "per_sd", "lo", "hi", "p")
    found = [
        (*(str(value) for value in key), *_link(own))
        for key, own in pairs.group_by(KEYS, maintain_order=True)
    ]
    rows = pl.DataFrame(found, {name: schema[name] for name in names}, orient="row").sort(KEYS)
    label = (
        pl.when(pl.col("n_sessions") < LEAST_SESSIONS).then(pl.lit(TOO_FEW))
        .when(pl.col("q") <= MOST_Q).then(pl.lit(GOES_TOGETHER)).otherwise(pl.lit(NOT_CLEAR))
    )  # fmt: skip
    return (
        rows.with_columns(q=q_of_p(holm).over("season", "student"))
        .with_columns(pl.col("per_sd", "lo", "hi", "p", "q").fill_nan(None))
        .with_columns(label=label)
        .select(schema.keys())
    )


def _link(own: pl.DataFrame) -> tuple[int, float, float, float, float]:
    """Sessions, change of the ball per sd of the measure, its interval and p; NaN where none is known."""
    sessions = own["session"].n_unique()
    nothing = (sessions, *(float("nan"),) * 4)
    if sessions < LEAST_SESSIONS:
        return nothing
    groups, group = np.unique(own["compared"].to_numpy(), return_inverse=True)
    order = own["swing_no"].to_numpy().astype(float)
    x, y = (within(own[name].to_numpy(), group, order) for name in ("measure", "value"))
    lost = 2 * groups.size
    slope, se, freedom = within_slope(x, y, lost)
    if not (np.isfinite(slope) and se > 0):
        return nothing
    sd = float(np.sqrt(x @ x / (x.size - lost)))
    half = float(special.stdtrit(freedom, 0.95)) * se
    p = float(2 * special.stdtr(freedom, -abs(slope) / se))
    return sessions, slope * sd, (slope - half) * sd, (slope + half) * sd, p
