"""A student's own target bands: a value inside one is not a fault of theirs.

Builds and bodies differ; a coach may agree another band with a student (a `target` note). From that day on no
swing of theirs is flagged for a fault whose metrics lie inside it.
"""

import polars as pl

from warehouse.store import Writer

_OWN = """
SELECT session.session, band.metric, band.club_family, band.lo, band.hi
FROM academy.band AS band
JOIN academy.session AS session ON session.student = band.student AND session.day >= band."from"
WHERE session.session IN (SELECT session FROM batch)
QUALIFY row_number() OVER (
    PARTITION BY session.session, band.metric, band.club_family ORDER BY band."from" DESC, band.version
) = 1
"""


def sessions_with_own_bands(writer: Writer) -> list[str]:
    """Measured sessions of the touched students who have a band of their own."""
    rows = writer.sql(
        "SELECT session FROM academy.session WHERE student IN (SELECT student FROM touched) "
        "AND student IN (SELECT student FROM academy.band) AND reduced ORDER BY session"
    )
    return rows["session"].to_list()


def without_agreed_flags(
    writer: Writer, judged: pl.DataFrame, metrics: pl.DataFrame, swings: pl.DataFrame
) -> pl.DataFrame:
    """`judged` (academy.swing_fault) without the flags that a student's own bands rule out.

    A flag goes when the fault reads a metric with an own band of that club family, and every such metric lies
    inside it (an end left out is open). Reads the temporary table batch(session).
    """
    own = writer.sql(_OWN)
    if own.is_empty():
        return judged
    reads = writer.sql("SELECT fault, unnest(metrics) AS metric FROM academy.fault")
    key = ["session", "swing_no"]
    names = [name for name in own["metric"].unique(maintain_order=True) if name in metrics.columns]
    inside = (
        metrics.select(*key, *names)
        .unpivot(index=key, variable_name="metric", value_name="value")
        .join(swings.select(*key, "club_family"), on=key)
        .join(own, on=["session", "metric", "club_family"])
        .with_columns(
            inside=(pl.col("value") >= pl.col("lo").fill_null(float("-inf")))
            & (pl.col("value") <= pl.col("hi").fill_null(float("inf")))
        )
        .join(reads, on="metric")
        .group_by(*key, "fault")
        .agg(agreed=pl.col("inside").fill_null(value=False).all())
    )
    both = judged.join(inside, on=[*key, "fault"], how="left", maintain_order="left")
    agreed = pl.col("agreed").fill_null(value=False) & pl.col("flagged").fill_null(value=False)
    return both.with_columns(
        flagged=pl.when(agreed).then(pl.lit(value=False)).otherwise("flagged"),
        severity=pl.when(agreed).then(0.0).otherwise("severity"),
    ).drop("agreed")
