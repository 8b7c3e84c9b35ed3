"""Fault ladder: the faults down the side in swing order, how often each happens now and happened before."""

from typing import Any

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import marked
from dashboard.text.numbers import count, share
from dashboard.text.sentences import fault_sentence

ROW_HEIGHT = 30
BEFORE, NOW = "before", "now"
SPANS = Words({"before": "before", "now": "now"})


def picture(rates: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw the ladder.

    `rates`: fault (name on screen), position (swing order), span (`NOW`, `BEFORE`), rate, rate_lo, rate_hi
    (0–1), flagged, usable, label. Faults without a rate are left out by the caller.
    """
    drawn = rates.with_columns(
        look.in_words(rates["label"], marked, "said"),
        pl.col("span").replace(SPANS).alias("when"),
        look.broken(rates["fault"], 22) if narrow else pl.col("fault").alias("row"),
    )
    order = drawn.sort("position")["row"].unique(maintain_order=True).to_list()
    y = alt.Y("row:N", sort=order, title=None, axis=look.name_axis(padding=12))
    percent = alt.Axis(labelExpr="round(100 * datum.value)", tickCount=3 if narrow else 5)
    x = alt.X("rate:Q", title=_("Share of swings (%)"), scale=alt.Scale(domain=[0, 1]), axis=percent)
    base = alt.Chart(drawn)
    now = base.transform_filter(alt.datum.span == NOW)
    before = base.transform_filter(alt.datum.span == BEFORE)
    strip = before.mark_bar(color=theme.BAND, height=16)
    bar = now.mark_rule(color=theme.INK, strokeWidth=5, opacity=0.25)
    ring = before.mark_point(shape="circle", size=130, fill=theme.GROUND, stroke=theme.QUIET, opacity=1)
    dot = now.mark_point(shape="circle", size=80, fill=theme.INK, stroke=theme.INK, opacity=1)
    tips = look.tips({
        "fault:N": _("Fault"), "when:N": _("When"), "rate:Q": (_("Share of swings"), ".0%"),
        "flagged:Q": _("Swings with it"), "usable:Q": _("Swings judged"),
    })  # fmt: skip
    layers = [
        strip.encode(x=alt.X("rate_lo:Q"), x2=alt.X2("rate_hi:Q"), y=y),
        bar.encode(x=alt.X("rate_lo:Q"), x2=alt.X2("rate_hi:Q"), y=y),
        base.mark_line(color=theme.INK, strokeWidth=1.2).encode(x=x, y=y, detail=alt.Detail("fault:N")),
        ring.encode(x=x, y=y, tooltip=tips),
        dot.encode(x=x, y=y, tooltip=tips),
    ]
    if not narrow:
        end = alt.datum(1.0, type="quantitative")
        layers.append(now.mark_text(align="left", dx=8).encode(x=end, y=y, text=alt.Text("said:N")))
    return look.layered(layers, max(ROW_HEIGHT * len(order), 60), finding, narrow=narrow)


def words(rates: pl.DataFrame) -> str:
    """The picture in words, one sentence a fault."""
    if rates.is_empty():
        return _("No fault could be judged yet.")
    said = []
    for name in rates.sort("position")["fault"].unique(maintain_order=True):
        rows = {row["span"]: row for row in rates.filter(pl.col("fault") == name).iter_rows(named=True)}
        said.append(fault_sentence(name, rows.get(NOW), rows.get(BEFORE)))
    return " ".join(said)


def table(rates: pl.DataFrame) -> pl.DataFrame:
    """The picture as rows: Fault, Now, Before, Change, each with its doubt."""
    ordered = rates.sort("position")
    rows = ordered.with_columns(
        pl.Series("said", [_said(row) for row in ordered.iter_rows(named=True)], pl.String),
        look.in_words(ordered["label"], marked, "change"),
    )
    names = rows.select("fault", "position").unique(maintain_order=True)
    now = rows.filter(pl.col("span") == NOW).select("fault", pl.col("said").alias("now"), "change")
    before = rows.filter(pl.col("span") == BEFORE).select("fault", pl.col("said").alias("before"))
    joined = names.join(now, on="fault", how="left").join(before, on="fault", how="left").sort("position")
    headings = {"fault": _("Fault"), "now": _("Now"), "before": _("Before"), "change": _("Change")}
    return joined.select(*headings).rename(headings)


def _said(row: dict[str, Any]) -> str:
    return _("{rate} of {swings} ({lo} to {hi})").format(
        rate=share(row["rate"]),
        swings=count(int(row["usable"]), "swing"),
        lo=share(row["rate_lo"]),
        hi=share(row["rate_hi"]),
    )
