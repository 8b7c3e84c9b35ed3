"""How often a fault happens: a student's rate now, before and over the season, whether it fell, and the pace.

`fault_rate_rows` reads season.session_fault and returns rows of season.student_fault_rate and
season.pace_ladder. Swings of one session resemble each other, so counts are cut to an effective number of
swings first; then a single rate has Wilson's interval, and now is compared with before by two beta posteriors
under the academy's own prior.

The pace ladder follows how a movement is learned: slowly first, then speed is added. It holds the recent rate
at slow, half and full pace, and the highest pace at which the movement can be said to hold.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass

import numpy as np
import polars as pl
from scipy import special

from models.parameters import load_parameters, save_parameters
from models.season.cells import TOUCHED
from models.season.estimation import UNIFORM, fit_beta, intraclass, p_first_lower, wilson
from models.season.kernel import FLOATS
from models.season.spans import counts_as_now, in_spans
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import BETTER, NOT_CLEAR, PACES, SELDOM, TOO_FEW, WORSE

KEYS = ["season", "student", "fault", "club_family"]
LEAST_SESSIONS = 3
SURE, SURE_IT_HOLDS = 0.95, 0.80
LEAST_DIFFERENCE = 0.10  # ten points of a hundred
USUAL_SWINGS = 10  # a session, for how many clean swings are still wanted


@dataclass(frozen=True)
class FaultPrior:
    """What the academy as a whole says of one fault: clustering within sessions, and the spread of rates."""

    rho: float  # 0–1, correlation of swings of one session within a student
    mean: float  # 0–1, the academy's mean rate
    strength: float  # swings that the prior is worth


# What two steps of a refresh ask for in turn: a season that no build has seen, and its priors.
_last_fitted: list[tuple[pl.DataFrame, dict[str, dict[str, FaultPrior]]]] = []
NO_PRIOR = FaultPrior(0.0, *UNIFORM)
Priors = Mapping[str, Mapping[str, FaultPrior]]  # season → fault → prior


def fault_rate_rows(writer: Writer, *, refit: bool) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows of season.student_fault_rate and season.pace_ladder of the touched students.

    A season that no build has seen yet is judged under priors fitted as it stands, and not kept.
    """
    rows = writer.sql(f"SELECT * FROM season.session_fault WHERE {TOUCHED} AND season IS NOT NULL")
    priors = _priors(writer, rows, refit=refit)
    return fault_rates(rows, priors), pace_ladder(rows, priors)


def _priors(writer: Writer, rows: pl.DataFrame, *, refit: bool) -> dict[str, dict[str, FaultPrior]]:
    """Season → fault → prior: fitted on `rows` and kept, or the last build's."""
    if refit:
        priors = fit_priors(rows)
        plain = {season: {f: asdict(prior) for f, prior in own.items()} for season, own in priors.items()}
        save_parameters(writer, {f"fault_rate/{season}": values for season, values in plain.items()})
        return priors
    return stored_priors(writer, rows)


def stored_priors(writer: Writer, rows: pl.DataFrame) -> dict[str, dict[str, FaultPrior]]:
    """The last build's priors; those of a season that no build has seen are fitted on it as it stands."""
    seasons = rows["season"].unique().to_list()
    stored = load_parameters(writer, [f"fault_rate/{season}" for season in seasons])
    priors = {
        name.removeprefix("fault_rate/"): {fault: FaultPrior(**value) for fault, value in values.items()}
        for name, values in stored.items()
    }
    for season in set(seasons) - set(priors):
        unseen = writer.sql("SELECT * FROM season.session_fault WHERE season = ?", [season])
        fitted = next((own for seen, own in list(_last_fitted) if seen.equals(unseen)), None)
        if fitted is None:
            fitted = fit_priors(unseen)
            _last_fitted[:] = [(unseen, fitted)]
        priors |= fitted
    return priors


def prior_columns(rows: pl.DataFrame, priors: Priors) -> tuple[FLOATS, FLOATS, FLOATS]:
    """(N,) each: ρ, mean and strength of the prior of each row's season and fault, NO_PRIOR's without one."""
    known = [priors.get(s, {}).get(f, NO_PRIOR) for s, f in rows.select("season", "fault").iter_rows()]
    rho, mean, strength = np.array([(p.rho, p.mean, p.strength) for p in known], dtype=float).reshape(-1, 3).T
    return rho, mean, strength


def within_session_correlation(parts: pl.DataFrame) -> float:
    """ρ of one fault's flags within sessions, estimated within students and pooled over them.

    `parts`: rows of `scatter` by `KEYS`. Pooling over students instead would take their differing rates for
    correlation of swings.
    """
    between, within, df_between, df_within, size = (
        float(parts[name].sum()) for name in ("between", "within", "df_between", "df_within", "size")
    )
    return intraclass(between, within, df_between, df_within, size / df_between if df_between else 0.0)


def scatter(sessions: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """`keys` → the analysis of variance of flags by session, of those with two sessions or more."""
    rate = pl.col("flagged") / pl.col("usable")
    own = pl.col("flagged").sum() / pl.col("usable").sum()
    return (
        sessions.filter(pl.col("usable") > 0)
        .with_columns(rate=rate, own=own.over(keys))
        .group_by(keys, maintain_order=True)
        .agg(
            between=(pl.col("usable") * (pl.col("rate") - pl.col("own")) ** 2).sum(),
            within=(pl.col("usable") * pl.col("rate") * (1 - pl.col("rate"))).sum(),
            df_between=pl.len() - 1,
            df_within=(pl.col("usable") - 1).sum(),
            size=pl.col("usable").sum() - (pl.col("usable") ** 2).sum() / pl.col("usable").sum(),
        )
        .filter(pl.col("df_between") > 0)
    )


def baseline_sessions(session_fault: pl.DataFrame) -> pl.DataFrame:
    """One row per student, fault, family and session: full-pace baseline swings inside a season.

    Measured and estimated heel loads never mix: a student's rows keep the source of their latest session.
    """
    full = (pl.col("part") == "baseline") & (pl.col("pace") == "full")
    return _sessions(session_fault.filter(full), KEYS)


def _sessions(session_fault: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Counts per `keys` and session inside a season, of each student's latest heel source, by time."""
    rows = session_fault.drop_nulls(["season", "club_family"])
    return (
        latest_source(rows)
        .group_by(*keys, "session", "started_at", "day")
        .agg(pl.col("flagged", "usable").sum().cast(pl.Float64))
        .sort(*keys, "started_at", "session")
    )


def latest_source(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of each student, fault and family with the heel source of their latest session."""
    dated = rows.sort("started_at", "heel_source")
    return dated.filter(pl.col("heel_source") == pl.col("heel_source").last().over(KEYS))


def fit_priors(session_fault: pl.DataFrame) -> dict[str, dict[str, FaultPrior]]:
    """Season → fault → prior, from every student of the academy."""
    priors: dict[str, dict[str, FaultPrior]] = {}
    sessions = baseline_sessions(session_fault)
    parts = scatter(sessions, KEYS).partition_by("season", "fault", as_dict=True)
    whole = _counts(sessions, KEYS)
    for (season, fault), counts in whole.group_by("season", "fault", maintain_order=True):
        rho = within_session_correlation(parts[season, fault]) if (season, fault) in parts else 0.0
        n = effective_n(counts, np.full(len(counts), rho))
        mean, strength = fit_beta(counts["rate"].fill_null(0).to_numpy() * n, n)
        priors.setdefault(str(season), {})[str(fault)] = FaultPrior(rho, mean, strength)
    return priors


def fault_rates(session_fault: pl.DataFrame, priors: Priors) -> pl.DataFrame:
    """`season.student_fault_rate`: rate with Wilson's 90 % interval for each span, and Better or Worse.

    `now` is the last 28 days up to the student's last session with that club family, reaching back to three
    sessions; `before` is everything earlier. p_lower and label belong to the comparison, so each of its rows
    has them; p_lower is null with fewer than three sessions on either side. Faults without a prior
    are judged under Laplace's (every rate alike).
    """
    spans = in_spans(baseline_sessions(session_fault), KEYS, LEAST_SESSIONS)
    counts = _counts(spans, [*KEYS, "span"])
    rho, mean, strength = prior_columns(counts, priors)
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
        .select(columns("season.student_fault_rate").keys())
        .with_columns(pl.col("flagged", "usable").cast(pl.Int32))
        .sort(*KEYS, "span")
    )


def _counts(sessions: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Swings, sessions and rate per `keys`, with `squares` = Σ swings² over the sessions."""
    return (
        sessions.group_by(keys, maintain_order=True)
        .agg(
            pl.col("flagged", "usable").sum(),
            squares=(pl.col("usable") ** 2).sum(),
            n_sessions=pl.len().cast(pl.Int32),
        )
        .with_columns(rate=pl.col("flagged") / pl.col("usable"))
    )


def effective_n(counts: pl.DataFrame, rho: FLOATS) -> FLOATS:
    """Swings over the design effect 1 + (m̄ − 1)ρ; m̄ = Σm²/Σm, the size of session a swing is met in."""
    return effective_swings(counts["usable"].to_numpy(), counts["squares"].to_numpy(), rho)


def effective_swings(n: FLOATS, squares: FLOATS, rho: FLOATS) -> FLOATS:
    """The same of n swings with Σ swings² over their sessions."""
    return np.asarray(n / (1 + (squares / n - 1) * rho))


def _compared(counts: pl.DataFrame) -> pl.DataFrame:
    """KEYS → p_lower and label, where now and before each have three sessions."""
    enough = counts.filter(pl.col("n_sessions") >= LEAST_SESSIONS)
    pairs = enough.filter(span="now").join(enough.filter(span="before"), on=KEYS, suffix="_before")
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


def clean_swings_wanted(rho: float) -> int:
    """Clean swings, in sessions of ten, before P(rate < 20 %) > 0.8 can be said: 15 at ρ = 0.15.

    From 1 − 0.8^(n + 1) > 0.8 under a uniform prior, n the effective number of swings.
    """
    effective = np.log(1 - SURE_IT_HOLDS) / np.log(1 - SELDOM) - 1
    return int(np.ceil(effective * (1 + (USUAL_SWINGS - 1) * rho)))


def pace_ladder(session_fault: pl.DataFrame, priors: Priors) -> pl.DataFrame:
    """`season.pace_ladder`: one row per season, student, fault, club family and pace that was swung.

    Swings of the last 28 days at that pace, reaching back to three sessions. Wilson's 90 % interval, and
    P(rate < 20 %) under a uniform prior, both on the effective n. `holds_at` is the highest
    pace at which that chance is over 0.8, null when there is none; every row of the student's fault
    has it.
    """
    keys = [*KEYS, "pace"]
    counts = _counts(_sessions(session_fault, keys).filter(counts_as_now(keys, LEAST_SESSIONS)), keys)
    rho, _, _ = prior_columns(counts, priors)
    n = effective_n(counts, rho)
    y = counts["rate"].to_numpy() * n
    lo, hi = wilson(y, n)
    place = pl.col("pace").replace_strict(list(PACES), list(range(len(PACES))), return_dtype=pl.Int64)
    holds = pl.col("p_seldom") > SURE_IT_HOLDS
    return (
        counts.with_columns(
            pl.col("flagged", "usable").cast(pl.Int32),
            rate_lo=pl.Series(lo),
            rate_hi=pl.Series(hi),
            p_seldom=pl.Series(special.betainc(y + 1, n - y + 1, SELDOM), dtype=pl.Float64),
            clean_swings_wanted=pl.Series([clean_swings_wanted(own) for own in rho], dtype=pl.Int32),
            place=place,
        )
        .with_columns(
            holds_at=pl.col("pace").filter(holds).sort_by(pl.col("place").filter(holds)).last().over(KEYS)
        )
        .sort(*KEYS, "place")
        .select(columns("season.pace_ladder").keys())
    )
