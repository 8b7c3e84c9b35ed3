"""Now, before and the whole season: the spans over which rates are counted, and the rates with doubt."""

from collections.abc import Sequence

import polars as pl

from models.season.estimation import wilson

NOW_DAYS = 28


def counts_as_now(keys: Sequence[str], least: int) -> pl.Expr:
    """Whether a row is of the last 28 days up to its keys' newest `day`, or one of their `least` newest.

    Rows must be in order of time.
    """
    newest_first = pl.len().over(keys) - pl.int_range(pl.len()).over(keys)
    recent = pl.col("day") > pl.col("day").max().over(keys) - pl.duration(days=NOW_DAYS)
    return recent | (newest_first <= least)


def in_spans(rows: pl.DataFrame, keys: Sequence[str], least: int) -> pl.DataFrame:
    """Each row twice: with its `span` now (see `counts_as_now`) or before, and with the span season."""
    span = pl.when(counts_as_now(keys, least)).then(pl.lit("now")).otherwise(pl.lit("before"))
    dated = rows.with_columns(span=span)
    return pl.concat([dated, dated.with_columns(span=pl.lit("season"))])


def with_rate(counts: pl.DataFrame, found: str, of: str, *, effect: str | None = None) -> pl.DataFrame:
    """`counts` with the rate of one column in another, and its 90 % interval by Wilson.

    `effect` names a column of design effects, by which the interval's counts are divided first.
    """
    by = counts[effect].to_numpy() if effect else 1.0
    lo, hi = wilson(counts[found].to_numpy() / by, counts[of].to_numpy() / by)
    return counts.with_columns(
        rate=pl.col(found) / pl.col(of), rate_lo=pl.Series(lo, dtype=pl.Float64),
        rate_hi=pl.Series(hi, dtype=pl.Float64),
    )  # fmt: skip
