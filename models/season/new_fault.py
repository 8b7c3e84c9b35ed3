"""How sure it is, day by day, that a fault is new: seldom before, and now at another, higher rate.

`new_fault_rows` reads season.session_fault and returns rows of season.new_fault_chance. Looking at sixty
students' every fault week after week, a plain comparison of now with before finds something sooner or later;
so the question here is whether the rate changed at all, and how often rates do is learned from the academy.
"""

from collections.abc import Mapping

import numpy as np
import polars as pl
from scipy import special

from models.parameters import load_parameters, save_parameters, six_digits
from models.season.cells import TOUCHED
from models.season.estimation import intraclass, mixture_share, p_first_lower
from models.season.faultrate import (
    KEYS,
    LEAST_DIFFERENCE,
    LEAST_SESSIONS,
    Priors,
    baseline_sessions,
    effective_swings,
    prior_columns,
    scatter,
    stored_priors,
)
from models.season.kernel import COUNTS, FLOATS
from models.season.spans import NOW_DAYS, in_spans
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import SELDOM

USUALLY_CHANGED = 0.05
DAYS_APART = 100_000  # between one of KEYS and the next: more than any season has
PRIOR_WORTH = 20  # sessions, or rates, that the academy's figure is worth beside a student's own
LEAST_ABOVE = 2  # of the last three sessions


def new_fault_rows(writer: Writer, *, refit: bool) -> pl.DataFrame:
    """Rows of season.new_fault_chance of the touched students; a build learns how often rates change."""
    rows = writer.sql(f"SELECT * FROM season.session_fault WHERE {TOUCHED} AND season IS NOT NULL")
    sessions = baseline_sessions(rows)
    seen = as_seen(sessions, stored_priors(writer, rows))
    seasons = sorted(seen["season"].unique())
    names = {season: f"new_fault/{season}" for season in seasons}
    if refit:
        save_parameters(
            writer, {names[season]: share_changed(seen.filter(season=season)) for season in seasons}
        )
    kept = load_parameters(writer, list(names.values()))
    return new_fault_chances(
        seen, {season: kept.get(name, USUALLY_CHANGED) for season, name in names.items()}
    )


def share_changed(seen: pl.DataFrame) -> float:
    """Share of a season's rates that became another: expectation and maximisation on the last day of each."""
    odds = seen.filter(pl.col("day") == pl.col("day").max().over(KEYS))["log_odds"].to_numpy()
    return six_digits(mixture_share(odds, USUALLY_CHANGED, PRIOR_WORTH))


def new_fault_chances(seen: pl.DataFrame, changed: Mapping[str, float]) -> pl.DataFrame:
    """Rows of season.new_fault_chance from `as_seen` and each season's share of changed rates.

    The chance that the rate changed and is now ten points of a hundred higher at least. Only for faults that
    under 20 % of the swings showed before, and that at least two of the last three sessions show more often.
    """
    prior = special.logit(np.array([changed[season] for season in seen["season"]], dtype=float))
    a, b, y, n = (seen[name].to_numpy() for name in ("a_before", "b_before", "y_now", "n_now"))
    higher = p_first_lower(a, b, 1 + y, 1 + n - y, LEAST_DIFFERENCE)
    chance = special.expit(seen["log_odds"].to_numpy() + prior) * higher
    return (
        seen.with_columns(p=pl.Series(chance, dtype=pl.Float64))
        .filter(pl.col("above") >= LEAST_ABOVE, pl.col("rate_before") < SELDOM)
        .select(columns("season.new_fault_chance").keys())
    )


def as_seen(sessions: pl.DataFrame, priors: Priors) -> pl.DataFrame:
    """KEYS and day → before and now as they were on each measured day, and the log odds of a change.

    With y of n effective swings and the academy's prior A, B, a rate that changed is as likely as
    B(A + y₁, B + n₁ − y₁) · B(1 + y₂, 1 + n₂ − y₂) / B(A + y₁ + y₂, B + n₁ + n₂ − y₁ − y₂) times one that did
    not: now any rate, against the one of before. Counts are cut by the larger of the academy's and the
    student's own correlation of swings. `above`: how many of the last three sessions show the fault more
    often than before; `rho`: that correlation. Days with fewer than three sessions in either span are left
    out.
    """
    last, cut, first = _spans_seen(sessions)
    y, n = (sessions[name].to_numpy() for name in ("flagged", "usable"))
    counted: dict[str, FLOATS] = {}
    for name, values in (("y", y), ("n", n), ("squares", n**2)):
        until = np.concatenate([[0.0], np.cumsum(values)])  # counts: the differences are exact
        counted |= {f"{name}_before": until[cut] - until[first], f"{name}_now": until[last + 1] - until[cut]}
    before = counted["y_before"] / counted["n_before"]
    above = sum(((y / n)[last - back] > before).astype(np.int32) for back in range(LEAST_SESSIONS))
    seen = (
        sessions[last]
        .select(*KEYS, "day", rate_before=pl.Series(before, dtype=pl.Float64), above=pl.Series(above))
        .with_columns(pl.Series(name, values, dtype=pl.Float64) for name, values in counted.items())
        .join(_own_clustering(sessions), on=KEYS, how="left", maintain_order="left")
    )
    pooled, mean, strength = prior_columns(seen, priors)
    sessions_known = seen["sessions"].fill_null(0).to_numpy()
    weight = sessions_known / (sessions_known + PRIOR_WORTH)
    own = seen["own_rho"].fill_null(0).to_numpy()
    rho = np.maximum(pooled, weight * own + (1 - weight) * pooled)
    (y1, n1), (y2, n2) = (_effective(seen, span, rho) for span in ("before", "now"))
    a, b = mean * strength, (1 - mean) * strength
    log_odds = (
        special.betaln(a + y1, b + n1 - y1) + special.betaln(1 + y2, 1 + n2 - y2)
        - special.betaln(a + y1 + y2, b + n1 + n2 - y1 - y2)
    )  # fmt: skip
    added = {"a_before": a + y1, "b_before": b + n1 - y1, "y_now": y2, "n_now": n2, "rho": rho}
    added["log_odds"] = log_odds
    return seen.with_columns(pl.Series(name, values, dtype=pl.Float64) for name, values in added.items())


def _spans_seen(sessions: pl.DataFrame) -> tuple[COUNTS, COUNTS, COUNTS]:
    """Of each KEYS and day: its last row, the first that is now (`spans.counts_as_now`), and the KEYS' first.

    `sessions` in order of KEYS and time. Days with too few sessions before are left out.
    """
    owner = sessions.select(pl.struct(KEYS).rle_id()).to_series().to_numpy().astype(np.int64)
    day = sessions["day"].cast(pl.Int32).to_numpy() + owner * DAYS_APART  # rises throughout
    last = np.flatnonzero(np.append(day[1:] != day[:-1], True)[: day.size])
    recent = np.searchsorted(day, day[last] - NOW_DAYS, side="right")
    cut, first = np.minimum(recent, last - LEAST_SESSIONS + 1), np.searchsorted(owner, owner[last])
    enough = cut - first >= LEAST_SESSIONS
    return last[enough], cut[enough], first[enough]


def _effective(seen: pl.DataFrame, span: str, rho: FLOATS) -> tuple[FLOATS, FLOATS]:
    y, n, squares = (seen[f"{name}_{span}"].to_numpy() for name in ("y", "n", "squares"))
    share = effective_swings(n, squares, rho) / n
    return y * share, n * share


def _own_clustering(sessions: pl.DataFrame) -> pl.DataFrame:
    """KEYS → the student's own correlation of swings within the spans, and degrees of freedom it rests on."""
    spans = in_spans(sessions, KEYS, LEAST_SESSIONS).filter(pl.col("span") != "season")
    parts = scatter(spans, [*KEYS, "span"]).group_by(KEYS, maintain_order=True).agg(
        pl.col("between", "within", "df_between", "df_within", "size").sum()
    )  # fmt: skip
    own = [
        intraclass(between, within, df, df_within, size / df)
        for between, within, df, df_within, size in parts.select(pl.exclude(KEYS)).iter_rows()
    ]
    return parts.select(*KEYS, own_rho=pl.Series(own, dtype=pl.Float64), sessions=pl.col("df_between"))
