"""What a player came for, as the ball answers it: carry, its spread, spread to the side, quality of strike.

`ball_season_rows` returns rows of season.session_ball and season.ball_trend. Always within one student and
one family of clubs: a strike with a driver and one with a wedge are not compared.
"""

from datetime import date
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from models.season.ball import LEAST_SESSIONS, MOST_Q, within_slope
from models.season.estimation import q_of_p
from models.sql import query
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import IMPROVING, NOT_CLEAR, SLIPPING, TOO_FEW

KEYS = ("season", "student", "club_family", "outcome")
# Outcome → the quantity it is made of, whether it is that quantity's spread, and whether more is better.
OUTCOMES = {
    "carry_m": ("carry_m", False, True),
    "carry_spread_m": ("carry_m", True, False),
    "side_spread_m": ("side_m", True, False),
    "strike_ratio": ("strike_ratio", False, True),
}
SURE = 0.90


def ball_season_rows(writer: Writer) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows of season.session_ball and season.ball_trend, of the students in the temporary table touched."""
    sessions = session_balls(writer.sql(query("season.session_ball")))
    return sessions, ball_trends(sessions)


def session_balls(shots: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.session_ball from n, mean and sd of each quantity.

    A mean's 90 % interval is ± t · sd / √n with n − 1 degrees of freedom. A spread is the standard deviation
    of the session's shots, sd; its interval is sd · √((n − 1) / χ²) at χ²'s 95th and 5th percentile. Both
    take a session's shots as normal and independent. A spread of 0 is none, and left out.
    """
    schema = columns("season.session_ball")
    found = []
    for outcome, (quantity, is_spread, _) in OUTCOMES.items():
        own = shots.filter(quantity=quantity)
        n, mean, sd = (own[name].to_numpy().astype(float) for name in ("n", "mean", "sd"))
        tail = (1 - SURE) / 2
        if is_spread:
            lo, hi = (sd * np.sqrt((n - 1) / special.chdtri(n - 1, p)) for p in (tail, 1 - tail))
        else:
            half = special.stdtrit(n - 1, 1 - tail) * sd / np.sqrt(n)
            lo, hi = mean - half, mean + half
        rows = own.with_columns(
            outcome=pl.lit(outcome), value=pl.Series(sd if is_spread else mean, dtype=pl.Float64),
            lo=pl.Series(lo, dtype=pl.Float64), hi=pl.Series(hi, dtype=pl.Float64),
        )  # fmt: skip
        found.append(rows.filter(pl.lit(not is_spread) | (pl.col("value") > 0)))
    return pl.concat(found).select(pl.col(name).cast(kind) for name, kind in schema.items())


def ball_trends(sessions: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.ball_trend from those of season.session_ball.

    A straight line through the sessions' values by least squares, each session counting once, so that what
    sessions scatter beyond their own shots is in its doubt. `change` is the line's last day less its first,
    its interval by t with n − 2 degrees of freedom. A student has some dozen of these, so p goes through
    Benjamini-Hochberg over the student's rows of the season, and a change is claimed from q ≤ 0.10. Under
    six sessions nothing is.
    """
    schema = columns("season.ball_trend")
    found = [
        (*key, *_line(own.sort("started_at", "session")))
        for key, own in sessions.sort(*KEYS, "session").group_by(KEYS, maintain_order=True)
    ]
    if not found:
        return pl.DataFrame(schema=schema)
    names = (*KEYS, "n_sessions", "start_value", "value_now", "change", "change_lo", "change_hi", "p")
    rows = pl.DataFrame(found, {name: schema[name] for name in names}, orient="row")
    more_is_better = pl.col("outcome").replace_strict(
        {name: better for name, (*_, better) in OUTCOMES.items()}, return_dtype=pl.Boolean
    )
    label = (
        pl.when(pl.col("n_sessions") < LEAST_SESSIONS).then(pl.lit(TOO_FEW))
        .when(pl.col("q").is_null() | (pl.col("q") > MOST_Q)).then(pl.lit(NOT_CLEAR))
        .when((pl.col("change") > 0) == more_is_better).then(pl.lit(IMPROVING)).otherwise(pl.lit(SLIPPING))
    )  # fmt: skip
    return (
        rows.with_columns(q=q_of_p().over("season", "student"))
        .with_columns(pl.col(*names[-6:], "q").fill_nan(None))
        .with_columns(label=label)
        .select(schema.keys())
    )


def _line(own: pl.DataFrame) -> tuple[Any, ...]:
    """Sessions, the line's ends, its change with the interval, and p; NaN under six sessions."""
    nothing = (own.height, *(float("nan"),) * 6)
    if own.height < LEAST_SESSIONS:
        return nothing
    start: date = own["day"][0]
    days = np.array([(day - start).days for day in own["day"]], float)
    value = own["value"].to_numpy()
    slope, se, freedom = within_slope(days - days.mean(), value - value.mean(), lost=1)
    if not (np.isfinite(slope) and se * days[-1] > 1e-9 * abs(value.mean())):  # they all lie on one line
        return nothing
    span, half = days[-1], float(special.stdtrit(freedom, 0.5 + SURE / 2)) * se
    first = float(value.mean() - slope * days.mean())
    p = float(2 * special.stdtr(freedom, -abs(slope) / se))
    change = slope * span
    return (own.height, first, first + change, change, (slope - half) * span, (slope + half) * span, p)
