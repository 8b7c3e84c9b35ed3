"""How often a fault happens: a student's rate now, before and over the season, and whether it fell.

Rows in: `season.session_fault`. Swings of one session resemble each other, so counts are cut to an effective
number of swings first; then Wilson's interval serves a single rate, and two beta posteriors under the
academy's own prior serve the comparison of now with before.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from warehouse.vocabulary import BETTER, NOT_CLEAR, TOO_FEW, WORSE

FLOATS = NDArray[np.float64]
KEYS = ["season", "student", "fault", "club_family"]
NOW_DAYS = 28
LEAST_SESSIONS = 3
SURE = 0.95
LEAST_DIFFERENCE = 0.10  # ten points of a hundred
Z90 = 1.6448536269514722  # 95th percentile of the normal: a two-sided 90 % interval
NODES, WEIGHTS = np.polynomial.legendre.leggauss(32)


@dataclass(frozen=True)
class FaultPrior:
    """What the academy as a whole says of one fault: clustering within sessions, and the spread of rates."""

    rho: float  # 0–1, likeness of swings of one session within a student
    mean: float  # 0–1, the academy's mean rate
    strength: float  # swings that the prior is worth


NO_PRIOR = FaultPrior(rho=0.0, mean=0.5, strength=2.0)  # Laplace's: every rate alike


def wilson(flagged: ArrayLike, n: ArrayLike, z: float = Z90) -> tuple[FLOATS, FLOATS]:
    """Wilson's score interval of a proportion.

    (p + z²/2n ± z√(p(1 − p)/n + z²/4n²)) / (1 + z²/n), p = flagged / n. Counts may be fractional (an
    effective n). NaN where n is 0. Source: Wilson 1927, method 3 of Newcombe 1998 (Stat Med 17).
    """
    count, size = np.asarray(flagged, dtype=float), np.asarray(n, dtype=float)
    size = np.where(size > 0, size, np.nan)
    rate = count / size
    centre = rate + z**2 / (2 * size)
    half = z * np.sqrt(rate * (1 - rate) / size + z**2 / (4 * size**2))
    scale = 1 + z**2 / size
    return np.clip((centre - half) / scale, 0, 1), np.clip((centre + half) / scale, 0, 1)


def intraclass(ss_between: float, ss_within: float, df_between: float, df_within: float, n0: float) -> float:
    """Intraclass correlation from the one-way analysis of variance, floored at 0.

    ρ = (MSB − MSW) / (MSB + (n₀ − 1)·MSW). 0 when there is nothing to compare or nothing varies.
    Source: Shrout & Fleiss 1979, ICC(1,1); n₀ for unequal groups as Donner 1986.
    """
    if df_between <= 0 or df_within <= 0 or n0 <= 0:
        return 0.0
    between, within = ss_between / df_between, ss_within / df_within
    total = between + (n0 - 1) * within
    return float(np.clip((between - within) / total, 0.0, 1.0)) if total > 0 else 0.0


def session_likeness(sessions: pl.DataFrame) -> float:
    """ρ of one fault's flags within sessions, estimated within students and pooled over them.

    `sessions`: one row per student, family and session with `flagged`, `usable`. Pooling over students
    instead would take their differing rates for likeness of swings.
    """
    rate = pl.col("flagged") / pl.col("usable")
    own = pl.col("flagged").sum() / pl.col("usable").sum()
    parts = (
        sessions.filter(pl.col("usable") > 0)
        .with_columns(rate=rate, own=own.over("season", "student", "club_family"))
        .group_by("season", "student", "club_family")
        .agg(
            between=(pl.col("usable") * (pl.col("rate") - pl.col("own")) ** 2).sum(),
            within=(pl.col("usable") * pl.col("rate") * (1 - pl.col("rate"))).sum(),
            df_between=pl.len() - 1,
            df_within=(pl.col("usable") - 1).sum(),
            size=pl.col("usable").sum() - (pl.col("usable") ** 2).sum() / pl.col("usable").sum(),
        )
        .filter(pl.col("df_between") > 0)
        .select(pl.exclude("season", "student", "club_family").sum())
    )
    between, within, df_between, df_within, size = (float(x or 0) for x in parts.row(0))
    return intraclass(between, within, df_between, df_within, size / df_between if df_between else 0.0)


def fit_beta(flagged: FLOATS, n: FLOATS) -> tuple[float, float]:
    """Mean and strength of the beta prior of the students' rates, from their (effective) counts.

    Mode of the beta-binomial likelihood with mean ~ uniform and log strength ~ N(log 4, 1.5²): the second
    keeps few students, or rates all alike, from making an endless strength. Needs at least one n > 0.
    """
    y, size = flagged[n > 0], n[n > 0]
    if y.size == 0:
        return NO_PRIOR.mean, NO_PRIOR.strength

    def loss(at: FLOATS) -> tuple[float, FLOATS]:
        mean, strength = special.expit(at[0]), np.exp(at[1])
        a, b = mean * strength, (1 - mean) * strength
        pull = (at[1] - np.log(4.0)) / 1.5
        value = np.sum(special.betaln(y + a, size - y + b) - special.betaln(a, b))
        value += np.log(mean) + np.log1p(-mean) - 0.5 * pull**2
        shared = special.digamma(strength) - special.digamma(size + strength)
        by_a = np.sum(special.digamma(y + a) - special.digamma(a) + shared)
        by_b = np.sum(special.digamma(size - y + b) - special.digamma(b) + shared)
        slope = np.array(
            [(by_a - by_b) * strength * mean * (1 - mean) + 1 - 2 * mean, by_a * a + by_b * b - pull / 1.5]
        )
        return -float(value), -slope

    start = np.array([special.logit((y.sum() + 1) / (size.sum() + 2)), np.log(4.0)])
    found = optimize.minimize(loss, start, jac=True, method="L-BFGS-B", bounds=[(-7, 7), (-2, 6)])
    return float(special.expit(found.x[0])), float(np.exp(found.x[1]))


def p_first_lower(a1: FLOATS, b1: FLOATS, a2: FLOATS, b2: FLOATS) -> FLOATS:
    """P(X < Y) for X ~ Beta(a1, b1), Y ~ Beta(a2, b2), each (K,): Gauss–Legendre over Y's quantiles."""
    at = special.betaincinv(a2[:, None], b2[:, None], (NODES[None, :] + 1) / 2)
    return np.asarray(special.betainc(a1[:, None], b1[:, None], at) @ (WEIGHTS / 2))


def baseline_sessions(session_fault: pl.DataFrame) -> pl.DataFrame:
    """One row per student, fault, family and session: full-pace baseline swings inside a season.

    Measured and estimated heel loads never mix: a student's rows keep the source of their latest session.
    """
    rows = session_fault.filter(
        (pl.col("part") == "baseline")
        & (pl.col("pace") == "full")
        & pl.col("season").is_not_null()
        & pl.col("club_family").is_not_null()
    )
    return (
        latest_source(rows)
        .group_by(*KEYS, "session", "started_at", "day")
        .agg(pl.col("flagged", "usable").sum().cast(pl.Float64))
        .sort(*KEYS, "started_at", "session")
    )


def latest_source(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of each student, fault and family whose heel load comes from where their latest session's does."""
    dated = rows.sort("started_at", "heel_source")
    return dated.filter(pl.col("heel_source") == pl.col("heel_source").last().over(KEYS))


def fit_priors(session_fault: pl.DataFrame) -> dict[str, dict[str, FaultPrior]]:
    """Season → fault → prior, from every student of the academy."""
    priors: dict[str, dict[str, FaultPrior]] = {}
    for (season, fault), rows in baseline_sessions(session_fault).group_by(
        ["season", "fault"], maintain_order=True
    ):
        rho = session_likeness(rows)
        counts = _spans(rows).filter(pl.col("span") == "season")
        n = effective_n(counts, np.full(len(counts), rho))
        mean, strength = fit_beta(counts["rate"].fill_null(0).to_numpy() * n, n)
        priors.setdefault(str(season), {})[str(fault)] = FaultPrior(rho, mean, strength)
    return priors


def fault_rates(session_fault: pl.DataFrame, priors: Mapping[str, Mapping[str, FaultPrior]]) -> pl.DataFrame:
    """`season.student_fault_rate`: rate with Wilson's 90 % interval for each span, and Better or Worse.

    `now` is the last 28 days up to the student's last session with that club family, reaching back to three
    sessions; `before` is everything earlier. p_lower and label belong to the comparison, so they stand on
    each of its rows; p_lower is null with fewer than three sessions on either side. Faults without a prior
    are judged under Laplace's (every rate alike).
    """
    counts = _spans(baseline_sessions(session_fault))
    known = [priors.get(s, {}).get(f, NO_PRIOR) for s, f in counts.select("season", "fault").iter_rows()]
    rho, mean, strength = (
        np.array([getattr(prior, name) for prior in known], dtype=float)
        for name in ("rho", "mean", "strength")
    )
    n = effective_n(counts, rho)
    y = counts["rate"].to_numpy() * n
    lo, hi = wilson(y, n)
    counts = counts.with_columns(
        rate_lo=pl.Series(lo),
        rate_hi=pl.Series(hi),
        a=pl.Series(y + mean * strength),
        b=pl.Series(n - y + (1 - mean) * strength),
    )
    return (
        counts.join(_compared(counts), on=KEYS, how="left")
        .with_columns(pl.col("label").fill_null(TOO_FEW))
        .select(
            *KEYS, "span", pl.col("flagged", "usable").cast(pl.Int32),
            "rate", "rate_lo", "rate_hi", "p_lower", "label", "n_sessions",
        )
        .sort(*KEYS, "span")
    )  # fmt: skip


def _spans(sessions: pl.DataFrame) -> pl.DataFrame:
    """Counts per KEYS and span, with `squares` = Σ swings² over the sessions."""
    newest_first = pl.col("started_at").len().over(KEYS) - pl.col("started_at").cum_count().over(KEYS) + 1
    recent = pl.col("day") > pl.col("day").max().over(KEYS) - pl.duration(days=NOW_DAYS)
    dated = sessions.sort(*KEYS, "started_at", "session").with_columns(
        span=pl.when(recent | (newest_first <= LEAST_SESSIONS))
        .then(pl.lit("now"))
        .otherwise(pl.lit("before"))
    )
    return (
        pl.concat([dated, dated.with_columns(span=pl.lit("season"))])
        .group_by(*KEYS, "span", maintain_order=True)
        .agg(
            pl.col("flagged", "usable").sum(),
            squares=(pl.col("usable") ** 2).sum(),
            n_sessions=pl.len().cast(pl.Int32),
        )
        .with_columns(rate=pl.col("flagged") / pl.col("usable"))
    )


def effective_n(counts: pl.DataFrame, rho: FLOATS) -> FLOATS:
    """Swings over the design effect 1 + (m̄ − 1)ρ; m̄ = Σm²/Σm, the size of session a swing is met in."""
    n = counts["usable"].to_numpy()
    met = counts["squares"].to_numpy() / n
    return np.asarray(n / (1 + (met - 1) * rho))


def _compared(counts: pl.DataFrame) -> pl.DataFrame:
    """KEYS → p_lower and label, where now and before each have three sessions."""
    enough = counts.filter(pl.col("n_sessions") >= LEAST_SESSIONS)
    pairs = enough.filter(pl.col("span") == "now").join(
        enough.filter(pl.col("span") == "before"), on=KEYS, suffix="_before"
    )
    a1, b1, a2, b2 = (pairs[name].to_numpy() for name in ("a", "b", "a_before", "b_before"))
    p = p_first_lower(a1, b1, a2, b2)
    fall = a2 / (a2 + b2) - a1 / (a1 + b1)
    label = np.select(
        [(p > SURE) & (fall >= LEAST_DIFFERENCE), (1 - p > SURE) & (-fall >= LEAST_DIFFERENCE)],
        [BETTER, WORSE],
        NOT_CLEAR,
    )
    return pairs.select(KEYS).with_columns(
        p_lower=pl.Series(p, dtype=pl.Float64), label=pl.Series(label.tolist(), dtype=pl.String)
    )
