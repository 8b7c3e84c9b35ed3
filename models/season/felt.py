"""What players felt against what the plates measured in the same swings, and whether the two agree more now.

A feeling agrees with a swing that shows none of its faults (rules/observations.toml), judged as everywhere
else; with several swings, when fewer than half of them show one.
"""

import numpy as np
import polars as pl

from models.season.estimation import p_first_lower
from models.season.spans import in_spans, with_rate
from models.sql import query
from warehouse.observations import feelings
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import BETTER, NOT_CLEAR, TOO_FEW, WORSE

KEYS = ["season", "student", "feeling"]
LEAST_NOTES = 5
SURE = 0.95


def felt_rows(writer: Writer) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows of season.felt and season.felt_agreement of the touched students."""
    rows = [(one.code, fault, len(one.faults)) for one in feelings() for fault in one.faults]
    known = pl.DataFrame(rows, ["feeling", "fault", "n_faults"], orient="row")
    with writer.given(known):
        felt = writer.sql(query("season.felt"))
    return felt, agreement(felt)


def agreement(felt: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.felt_agreement, from rows of season.felt in a season with a measurement beside them.

    `now` is the last 28 days up to the last such note, reaching back to five; `before` everything earlier.
    Rates have Wilson's 90 % interval. Better or worse: P over 0.95 that the rate rose or fell, under uniform
    priors, with five notes in either span; each row of a student's feeling has the label. Answers of one day
    resemble each other, so for both the counts are divided by their design effect (`_design_effects`).
    """
    known = felt.drop_nulls(["season", "measured"]).sort("day", "note")
    same = pl.col("felt") == pl.col("measured")
    dated = in_spans(known, KEYS, LEAST_NOTES)
    effects = _design_effects(dated.filter(pl.col("span") != "season").with_columns(same=same))
    counts = (
        dated.group_by(*KEYS, "span")
        .agg(
            n=pl.len().cast(pl.Int32),
            agreed=same.sum().cast(pl.Int32),
            felt_only=(pl.col("felt") & ~pl.col("measured")).sum().cast(pl.Int32),
            measured_only=(~pl.col("felt") & pl.col("measured")).sum().cast(pl.Int32),
        )
        .join(effects, on=KEYS)
        .sort(*KEYS, "span")
    )
    return (
        with_rate(counts, "agreed", "n", effect="effect")
        .join(_compared(counts), on=KEYS, how="left")
        .with_columns(pl.col("label").fill_null(TOO_FEW))
        .select(columns("season.felt_agreement").keys())
    )


def _design_effects(dated: pl.DataFrame) -> pl.DataFrame:
    """KEYS → `effect`, 1 or more: how much more a student's days differ than independent answers would.

    D/(D − spans) · Σ(a − n·p)² / Σ n·p(1 − p) over the D days of now and before, with n answers of which a
    agreed and p the span's rate; 1 where no span has two days. Source: Rao & Scott 1992, Biometrics 48.
    """
    days = dated.group_by(*KEYS, "span", "day").agg(n=pl.len(), a=pl.col("same").sum())
    p = pl.col("a").sum().over(*KEYS, "span") / pl.col("n").sum().over(*KEYS, "span")
    free = pl.len() - pl.col("span").n_unique()
    ratio = pl.len() / free * ((pl.col("a") - pl.col("n") * pl.col("p")) ** 2).sum()
    chance = (pl.col("n") * pl.col("p") * (1 - pl.col("p"))).sum()
    return (
        days.with_columns(p=p)
        .group_by(KEYS)
        .agg(
            effect=pl.when((free > 0) & (chance > 0))
            .then(ratio / chance)
            .otherwise(1.0)
            .clip(lower_bound=1.0)
        )
    )


def _compared(counts: pl.DataFrame) -> pl.DataFrame:
    """KEYS → p_higher and label, where now and before each have five notes."""
    enough = counts.filter(pl.col("n") >= LEAST_NOTES)
    pairs = enough.filter(span="now").join(enough.filter(span="before"), on=KEYS, suffix="_before")
    agreed, n, agreed_before, n_before = (
        pairs[name].to_numpy() / pairs["effect"].to_numpy()
        for name in ("agreed", "n", "agreed_before", "n_before")
    )
    p = p_first_lower(agreed_before + 1, n_before - agreed_before + 1, agreed + 1, n - agreed + 1)
    label = np.select([p > SURE, 1 - p > SURE], [BETTER, WORSE], NOT_CLEAR)
    return pairs.select(KEYS).with_columns(
        p_higher=pl.Series(p, dtype=pl.Float64), label=pl.Series(label.tolist(), dtype=pl.String)
    )
