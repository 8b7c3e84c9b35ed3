"""Fault ladder: the faults down the side in swing order, how often each happens now and happened before."""

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.wording import count, fault_sentence, marked, share

ROW_HEIGHT = 30
BEFORE, NOW = "before", "now"


def picture(rates: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw the ladder.

    `rates`: fault (name on screen), position (swing order), span (`NOW`, `BEFORE`), rate, rate_lo, rate_hi
    (0–1), flagged, usable, label. Faults without a rate are left out by the caller.
    """
    drawn = rates.with_columns(pl.col("label").map_elements(marked, return_dtype=pl.String).alias("said"))
    order = drawn.sort("position")["fault"].unique(maintain_order=True).to_list()
    y = alt.Y(
        "fault:N", sort=order, title=None,
        axis=alt.Axis(labelLimit=150 if narrow else 260, domain=False, ticks=False),
    )  # fmt: skip
    percent = alt.Axis(format="%", tickCount=3 if narrow else 5)
    x = alt.X("rate:Q", title="Share of swings (%)", scale=alt.Scale(domain=[0, 1]), axis=percent)
    base = alt.Chart(drawn)
    now, before = (
        base.transform_filter(alt.datum.span == NOW),
        base.transform_filter(alt.datum.span == BEFORE),
    )
    tips = [
        alt.Tooltip("fault:N", title="Fault"), alt.Tooltip("span:N", title="When"),
        alt.Tooltip("rate:Q", title="Share of swings", format=".0%"),
        alt.Tooltip("flagged:Q", title="Swings with it"), alt.Tooltip("usable:Q", title="Swings judged"),
    ]  # fmt: skip
    layers = [
        before.mark_bar(color=theme.BAND, height=16).encode(x="rate_lo:Q", x2="rate_hi:Q", y=y),
        now.mark_rule(color=theme.INK, strokeWidth=5, opacity=0.25).encode(
            x="rate_lo:Q", x2="rate_hi:Q", y=y
        ),
        base.mark_line(color=theme.INK, strokeWidth=1.2).encode(x=x, y=y, detail="fault:N"),
        before.mark_point(shape="circle", size=60, fill=theme.GROUND, stroke=theme.QUIET, opacity=1).encode(
            x=x, y=y, tooltip=tips
        ),
        now.mark_point(shape="circle", size=80, fill=theme.INK, stroke=theme.INK, opacity=1).encode(
            x=x, y=y, tooltip=tips
        ),
    ]
    if not narrow:
        layers.append(
            now.mark_text(align="left", dx=8).encode(
                x=alt.datum(1.0, type="quantitative"), y=y, text="said:N"
            )
        )
    return alt.layer(*layers).properties(
        height=max(ROW_HEIGHT * len(order), 60), title=theme.title(finding, narrow=narrow)
    )


def words(rates: pl.DataFrame) -> str:
    """The picture in words, one sentence a fault."""
    if rates.is_empty():
        return "No fault could be judged yet."
    said = []
    for name in rates.sort("position")["fault"].unique(maintain_order=True):
        rows = {row["span"]: row for row in rates.filter(pl.col("fault") == name).iter_rows(named=True)}
        said.append(fault_sentence(name, rows.get(NOW), rows.get(BEFORE)))
    return " ".join(said)


def table(rates: pl.DataFrame) -> pl.DataFrame:
    """The picture as rows: Fault, Now, Before, Change, each with its doubt."""

    def said(row: dict[str, object]) -> str:
        return f"{share(row['rate'])} of {count(int(row['usable']), 'swing')} ({share(row['rate_lo'])} to {share(row['rate_hi'])})"  # type: ignore[arg-type,call-overload]  # noqa: E501

    rows = rates.sort("position").with_columns(
        pl.struct("rate", "usable", "rate_lo", "rate_hi")
        .map_elements(said, return_dtype=pl.String)
        .alias("said"),
        pl.col("label").map_elements(marked, return_dtype=pl.String).alias("Change"),
    )
    names = rows.select("fault", "position").unique(maintain_order=True)
    now = rows.filter(pl.col("span") == NOW).select("fault", pl.col("said").alias("Now"), "Change")
    before = rows.filter(pl.col("span") == BEFORE).select("fault", pl.col("said").alias("Before"))
    return (
        names.join(now, on="fault", how="left")
        .join(before, on="fault", how="left")
        .sort("position")
        .select(pl.col("fault").alias("Fault"), "Now", "Before", "Change")
    )
