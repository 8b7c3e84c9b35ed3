"""Small multiples: one little season a student, all on one scale, in the order of the rows."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import _
from dashboard.text.labels import marked
from dashboard.text.numbers import Band, Measure, count
from dashboard.text.sentences import FEW_SWINGS

WIDE_COLUMNS, NARROW_COLUMNS = 4, 2
WIDTH, NARROW_WIDTH, HEIGHT = 168, 128, 110
AXIS_LETTERS = 20  # of the axis title on a line beside a panel
ROWS_ON_A_SCREEN = 3


@dataclass(frozen=True)
class Comparison:
    """Several students on one measure.

    `values`: student (name on screen), label (or null), day, mean, lo, hi, n; and `page`, the address that a
    panel opens, where it opens one. `band` (lo, hi) is the one that holds for everyone shown; (null, null)
    for none.
    """

    values: pl.DataFrame
    measure: Measure
    band: Band = (None, None)


def picture(
    compared: Comparison, finding: str, *, narrow: bool = False, only: Sequence[str] | None = None
) -> alt.FacetChart:
    """Draw every student's session means on one scale; or `only` these, on everyone's scale."""
    values, measure, band = compared.values, compared.measure, compared.band
    low, high = look.reach((v for name in ("mean", "lo", "hi") for v in values[name]), band, margin=0.05)
    strip = look.strip(band, low, high)
    drawn = values if only is None else values.filter(pl.col("student").is_in(list(only)))
    drawn = drawn.with_columns(
        pl.Series("panel", [_headed(row) for row in drawn.iter_rows(named=True)], pl.String),
        look.in_words(drawn["mean"], measure.say, "value"),
        pl.lit(strip[0]).alias("band_lo"),
        pl.lit(strip[1]).alias("band_hi"),
        (pl.int_range(pl.len()).over("student") == 0).alias("once"),
    )
    order = drawn["panel"].unique(maintain_order=True).to_list()
    base = alt.Chart(drawn)
    x = alt.X("day:T", title=None, axis=_months(values, narrow=narrow), scale=_days(values))
    y = alt.Y(
        "mean:Q",
        title=look.on_lines(measure.axis, AXIS_LETTERS).split("\n"),
        scale=alt.Scale(domain=[low, high], nice=False, zero=False),
        axis=alt.Axis(labelExpr=look.MINUS),
    )
    tips = look.tips(
        {"student:N": _("Student"), "day:T": _("Day"), "value:N": measure.label, "n:Q": _("Swings")}
    )
    layers = []
    if band != (None, None):
        layers.append(
            base.mark_rect(color=theme.BAND)
            .encode(y="min(band_lo):Q", y2="max(band_hi):Q")
            .transform_filter("isValid(datum.mean)")
        )
    layers += [
        base.mark_line(color=theme.QUIET, strokeWidth=1).encode(x=x, y=y),
        base.mark_rule(color=theme.INK, strokeWidth=1.2).encode(x=x, y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q")),
        base.mark_point(size=26, stroke=theme.INK, strokeWidth=1.2, opacity=1).encode(
            x=x, y=y, fill=look.filled(f"datum.n >= {FEW_SWINGS}"), tooltip=tips
        ),
    ]
    header = alt.Header(labelAnchor="start", labelLimit=220)
    if "page" in drawn.columns:
        header = alt.Header(labelExpr="''", labelPadding=0)  # the link says the name
        layers += _opens(base.transform_filter("datum.once"))
    panels = alt.layer(*layers).properties(width=NARROW_WIDTH if narrow else WIDTH, height=HEIGHT)
    return panels.facet(
        facet=alt.Facet("panel:N", sort=order, title=None, header=header),
        columns=NARROW_COLUMNS if narrow else WIDE_COLUMNS,
        spacing=14,
        title=look.title(finding, narrow=narrow) if finding else alt.Undefined,
    )


def screens(values: pl.DataFrame, *, narrow: bool = False) -> list[list[str]]:
    """The students of the first screenful, and those below it: a browser is slow to draw all at once."""
    names = values["student"].unique(maintain_order=True).to_list()
    first = ROWS_ON_A_SCREEN * (NARROW_COLUMNS if narrow else WIDE_COLUMNS)
    return [part for part in (names[:first], names[first:]) if part]


def _days(values: pl.DataFrame) -> alt.Scale:
    """Everyone's first to last day; where there is but one, it is left to stand in the middle."""
    first, last = values["day"].min(), values["day"].max()
    return alt.Scale() if first == last else alt.Scale(domain=[first, last], nice=True)


def _months(values: pl.DataFrame, *, narrow: bool) -> alt.Axis:
    """A tick a month, or every few months; days when all of it lies within two months."""
    days: list[date] = values["day"].to_list()
    span = (max(days) - min(days)).days if days else 0
    if span < 62:
        return alt.Axis(format=_(look.SHORT_DAY), grid=False, tickCount=2 if narrow else 3, labelFlush=True)
    step = max(1, round(span / 30.4 / (3 if narrow else 5)))
    every = alt.TimeIntervalStep(interval="month", step=step)
    return alt.Axis(format="%b", grid=False, tickCount=every, labelOverlap=True, labelSeparation=6)


def _opens(base: alt.Chart) -> list[alt.Chart]:
    """All of a panel, and the name above it, as a link to its student's page."""
    link, top, left = alt.Href("page:N"), alt.YValue(0), alt.XValue(0)
    whole = {"x": left, "x2": alt.X2Value("width"), "y": top, "y2": alt.Y2Value("height")}
    name = base.mark_text(align="left", baseline="bottom", dy=-4, color=theme.ACCENT, limit=WIDTH)
    return [
        base.mark_rect(opacity=0).encode(href=link, **whole),
        name.encode(x=left, y=top, text=alt.Text("panel:N"), href=link),
    ]


def _headed(row: dict[str, str | None]) -> str:
    shape = marked(row["label"])[:1] if row["label"] else ""
    return f"{row['student']}  {shape}" if shape in "▲●▽" and shape else str(row["student"])


def words(compared: Comparison) -> str:
    """The picture in words: how many students and sessions, and the labels that the season tables give."""
    values, measure = compared.values, compared.measure
    if values.is_empty():
        return _("{measure}: nobody measured yet.").format(measure=measure.label)
    people = values.select("student", "label").unique()
    text = _("{measure} of {students}, session by session, all on one scale.").format(
        measure=measure.label, students=count(len(people), "student")
    )
    for label, n in people.drop_nulls("label").group_by("label").len().sort("label").iter_rows():
        text += f" {marked(label)}: {n}."
    return text


def table(compared: Comparison) -> pl.DataFrame:
    """The picture as rows: Student, Sessions, First, Latest, Change of the season."""
    measure, ordered = compared.measure, compared.values
    rows = ordered.group_by("student", maintain_order=True).agg(
        pl.len().alias("n"),
        pl.col("mean").first().alias("first"),
        pl.col("mean").last().alias("latest"),
        pl.col("day").last(),
        pl.col("label").first(),
    )
    shown = [
        {
            _("Student"): row["student"],
            _("Sessions"): row["n"],
            _("First"): measure.say(row["first"]),
            _("Latest"): measure.say(row["latest"]),
            _("Last day"): row["day"],
            _("Change"): marked(row["label"]) if row["label"] else "–",
        }
        for row in rows.iter_rows(named=True)
    ]
    return pl.DataFrame(shown)
