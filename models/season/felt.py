"""What players felt against what the plates measured in the same swings, and whether the two agree more now.

A feeling agrees with a swing that shows none of its faults (rules/observations.toml), judged as everywhere
else; with several swings, when fewer than half of them show one.
"""

import numpy as np
import polars as pl

from models.season.estimation import p_first_lower
from models.season.spans import in_spans, with_rate
from models.sql import columns, query
from warehouse.observations import feelings
from warehouse.store import Writer
from warehouse.vocabulary import BETTER, NOT_CLEAR, TOO_FEW, WORSE

KEYS = ["season", "student", "feeling"]
LEAST_NOTES = 5
SURE = 0.95


def felt_rows(writer: Writer) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows of season.felt and season.felt_agreement of the touched students."""
    rows = [(one.code, fault, len(one.faults)) for one in feelings() for fault in one.faults]
    known = pl.DataFrame(rows, ["feeling", "fault", "n_faults"], orient="row")
    writer.connection.register("feeling", known.to_arrow())
    try:
        felt = writer.sql(query("season.felt"))
    finally:
        writer.connection.unregister("feeling")
    return felt, agreement(felt)


def agreement(felt: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.felt_agreement, from rows of season.felt in a season with a measurement beside them.

    `now` is the last 28 days up to the last such note, reaching back to five; `before` everything earlier.
    Rates have Wilson's 90 % interval. Better or worse: P over 0.95 that the rate rose or fell, under uniform
    priors, with five notes in either span; each row of a student's feeling has the label.
    """
    known = felt.drop_nulls(["season", "measured"]).sort("day", "note")
    same = pl.col("felt") == pl.col("measured")
    counts = (
        in_spans(known, KEYS, LEAST_NOTES)
        .group_by(*KEYS, "span")
        .agg(
            n=pl.len().cast(pl.Int32),
            agreed=same.sum().cast(pl.Int32),
            felt_only=(pl.col("felt") & ~pl.col("measured")).sum().cast(pl.Int32),
            measured_only=(~pl.col("felt") & pl.col("measured")).sum().cast(pl.Int32),
        )
        .sort(*KEYS, "span")
    )
    return (
        with_rate(counts, "agreed", "n")
        .join(_compared(counts), on=KEYS, how="left")
        .with_columns(pl.col("label").fill_null(TOO_FEW))
        .select(columns("season.felt_agreement").keys())
    )


def _compared(counts: pl.DataFrame) -> pl.DataFrame:
    """KEYS → p_higher and label, where now and before each have five notes."""
    enough = counts.filter(pl.col("n") >= LEAST_NOTES)
    pairs = enough.filter(pl.col("span") == "now").join(
        enough.filter(pl.col("span") == "before"), on=KEYS, suffix="_before"
    )
    agreed, n, agreed_before, n_before = (
        pairs[name].to_numpy().astype(float) for name in ("agreed", "n", "agreed_before", "n_before")
    )
    p = p_first_lower(agreed_before + 1, n_before - agreed_before + 1, agreed + 1, n - agreed + 1)
    label = np.select([p > SURE, 1 - p > SURE], [BETTER, WORSE], NOT_CLEAR)
    return pairs.select(KEYS).with_columns(
        p_higher=pl.Series(p, dtype=pl.Float64), label=pl.Series(label.tolist(), dtype=pl.String)
    )
