"""Left out: swings and deliveries that stay out of the answers, week by week, by reason, device or coach."""

from datetime import date, timedelta

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import _
from dashboard.text.numbers import count, lowered, number

ROW_HEIGHT = 32


def picture(rows: pl.DataFrame, by: str, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw a circle a week and group, its area the number left out. `rows`: week, group, n."""
    rows = _single_ones_together(rows)
    drawn = rows.with_columns(look.broken(rows["group"], 20 if narrow else 40))
    order = drawn.group_by("row").agg(pl.col("n").sum()).sort("n", "row", descending=[True, False])["row"]
    weeks: list[date] = drawn["week"].to_list()
    days = [
        alt.DateTime(year=d.year, month=d.month, date=d.day)
        for d in (min(weeks) - timedelta(days=10), max(weeks) + timedelta(days=10))
    ]
    x = alt.X(
        "week:T", title=_("Week"), scale=alt.Scale(domain=days),
        axis=alt.Axis(format=_(look.SHORT_DAY), grid=False, tickCount=3 if narrow else 8, labelFlush=True),
    )  # fmt: skip
    y = alt.Y("row:N", sort=order.to_list(), title=None, axis=look.name_axis(grid=True))
    most = max(drawn["n"].to_list())
    tips = look.tips({"week:T": _("Week of"), "group:N": by, "n:Q": _("Left out")})
    base = alt.Chart(drawn)
    size = alt.Size("n:Q", scale=alt.Scale(domain=[0, max(most, 4)], range=[0, 420]), legend=None)
    dots = base.mark_point(shape="circle", fill=theme.QUIET, stroke=theme.INK, fillOpacity=0.5, opacity=1)
    layers = [dots.encode(x=x, y=y, size=size, tooltip=tips)]
    if not narrow:
        layers.append(
            base.transform_filter(alt.datum.n > 1).mark_text(dy=-14).encode(x=x, y=y, text=alt.Text("n:Q"))
        )
    return look.layered(
        layers, max((1.7 if narrow else 1.2) * ROW_HEIGHT * len(order), 80), finding, narrow=narrow
    )


def _single_ones_together(rows: pl.DataFrame) -> pl.DataFrame:
    """Groups of which one was left out share a row: a line each, with one small circle, says nothing."""
    once = rows.filter(pl.col("n").sum().over("group") == 1)
    if len(once) < 2:
        return rows
    name = _("Once each ({n})").format(n=len(once))
    several = once.group_by("week").agg(pl.col("n").sum()).select("week", pl.lit(name).alias("group"), "n")
    return pl.concat([rows.join(once, on="group", how="anti").select(several.columns), several])


def finding(rows: pl.DataFrame, taken_in: int, by: str) -> str:
    """The title: how much was left out of what came in, and where most of it."""
    out = int(rows["n"].sum())
    most = rows.group_by("group").agg(pl.col("n").sum()).sort("n", "group", descending=[True, False])
    group, n = most.row(0)
    tied = len(most) > 1 and n == most["n"][1]
    part = number(100 * out / max(taken_in + out, 1), "%", 1)
    by = lowered(by)
    if len(most) == 1:
        where = _("all of them: {group}").format(group=group)
    elif tied:
        where = _("no {kind} stands out").format(kind=by)
    else:
        where = _("most by {kind}: {group} ({n})").format(kind=by, group=group, n=n)
    return _("{what} left out, {share} of what came in; {where}").format(
        what=count(out, "swing_or_delivery"), share=part, where=where
    )


def words(rows: pl.DataFrame, by: str) -> str:
    """The picture in words: the groups with their numbers."""
    totals = rows.group_by("group").agg(pl.col("n").sum()).sort("n", "group", descending=[True, False])
    said = "; ".join(f"{group}: {n}" for group, n in totals.iter_rows())
    return _("Left out, by {kind}. {groups}.").format(kind=lowered(by), groups=said)
