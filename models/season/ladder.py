"""The pace ladder: a movement is learned slowly, then speed is added.

Rows in: `season.session_fault`, every part and pace. For each student, fault and club family: the recent
rate at slow, half and full pace, and the highest pace at which the movement can be said to hold.
"""

from collections.abc import Mapping

import numpy as np
import polars as pl
from scipy import special

from models.season.faultrate import (
    KEYS,
    LEAST_SESSIONS,
    NO_PRIOR,
    NOW_DAYS,
    FaultPrior,
    effective_n,
    latest_source,
    wilson,
)
from warehouse.vocabulary import PACES

SELDOM, SURE = 0.20, 0.80
USUAL_SWINGS = 10  # a session, for how many clean swings are still wanted


def clean_swings_wanted(rho: float) -> int:
    """Clean swings, in sessions of ten, before P(rate < 20 %) > 0.8 can be said: 15 at ρ = 0.15.

    From 1 − 0.8^(n + 1) > 0.8 under a uniform prior, n the effective number of swings.
    """
    effective = np.log(1 - SURE) / np.log(1 - SELDOM) - 1
    return int(np.ceil(effective * (1 + (USUAL_SWINGS - 1) * rho)))


def pace_ladder(session_fault: pl.DataFrame, priors: Mapping[str, Mapping[str, FaultPrior]]) -> pl.DataFrame:
    """`season.pace_ladder`: one row per season, student, fault, club family and pace that was swung.

    Swings of the last 28 days at that pace, reaching back to three sessions. Wilson's 90 % interval, and
    P(rate < 20 %) under a uniform prior, both on the effective n. `holds_at` is the highest
    pace at which that chance is over 0.8, null when there is none; it stands on every row of the student's
    fault.
    """
    keys = [*KEYS, "pace"]
    rows = latest_source(
        session_fault.filter(pl.col("season").is_not_null() & pl.col("club_family").is_not_null())
    )
    sessions = rows.group_by(*keys, "session", "started_at", "day").agg(
        pl.col("flagged", "usable").sum().cast(pl.Float64)
    )
    rank = pl.col("started_at").rank("ordinal", descending=True).over(keys)
    recent = pl.col("day") > pl.col("day").max().over(keys) - pl.duration(days=NOW_DAYS)
    counts = (
        sessions.sort(*keys, "started_at", "session")
        .filter(recent | (rank <= LEAST_SESSIONS))
        .group_by(keys, maintain_order=True)
        .agg(
            pl.col("flagged", "usable").sum(),
            squares=(pl.col("usable") ** 2).sum(),
            n_sessions=pl.len().cast(pl.Int32),
        )
        .with_columns(rate=pl.col("flagged") / pl.col("usable"))
    )
    known = [priors.get(s, {}).get(f, NO_PRIOR).rho for s, f in counts.select("season", "fault").iter_rows()]
    n = effective_n(counts, np.array(known, dtype=float))
    y = counts["rate"].to_numpy() * n
    lo, hi = wilson(y, n)
    place = pl.col("pace").replace_strict(list(PACES), list(range(len(PACES))), return_dtype=pl.Int64)
    holds = pl.col("p_seldom") > SURE
    return (
        counts.with_columns(
            pl.col("flagged", "usable").cast(pl.Int32),
            rate_lo=pl.Series(lo),
            rate_hi=pl.Series(hi),
            p_seldom=pl.Series(special.betainc(y + 1, n - y + 1, SELDOM), dtype=pl.Float64),
            clean_swings_wanted=pl.Series([clean_swings_wanted(rho) for rho in known], dtype=pl.Int32),
            place=place,
        )
        .with_columns(
            holds_at=pl.col("pace").filter(holds).sort_by(pl.col("place").filter(holds)).last().over(KEYS)
        )
        .sort(*KEYS, "place")
        .select(
            *KEYS, "pace", "flagged", "usable", "rate", "rate_lo", "rate_hi", "p_seldom", "holds_at",
            "clean_swings_wanted", "n_sessions",
        )
    )  # fmt: skip
