"""Ten swings: how many of ten go well, now and before, as ten circles a row; for students and parents."""

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import Words, _
from dashboard.text.numbers import capitalized, in_ten

ROW_HEIGHT = 44
NOW, BEFORE = "lately", "before"
SPANS = Words({NOW: "lately", BEFORE: "before"})


def picture(rates: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.Chart:
    """Draw the rows. `rates`: when (`NOW`, `BEFORE`), good (0–1): the share of swings that go well."""
    well, not_yet = _("like this"), _("not yet")
    dots = rates.select("when", pl.col("good")).join(pl.DataFrame({"swing": range(1, 11)}), how="cross")
    dots = dots.with_columns(
        pl.when(pl.col("swing") <= (10 * pl.col("good")).round()).then(pl.lit(well)).otherwise(
            pl.lit(not_yet)
        ).alias("how")
    )  # fmt: skip
    dots = dots.with_columns(pl.col("when").replace(SPANS).alias("row"))
    order = [SPANS[when] for when in (NOW, BEFORE) if when in rates["when"].to_list()]
    return (
        alt.Chart(dots)
        .mark_point(shape="circle", size=190 if narrow else 260, stroke=theme.INK, strokeWidth=1.6, opacity=1)
        .encode(
            x=alt.X(
                "swing:O", title=_("Swings of ten"), axis=alt.Axis(labelAngle=0, domain=False, ticks=False)
            ),
            y=alt.Y("row:N", sort=order, title=None, axis=alt.Axis(domain=False, ticks=False)),
            fill=alt.Fill(
                "how:N",
                title=None,
                scale=alt.Scale(domain=[well, not_yet], range=[theme.ACCENT, theme.GROUND]),
                legend=alt.Legend(orient="bottom", symbolStrokeColor=theme.INK),
            ),
        )
        .properties(
            autosize=look.FIT, height=ROW_HEIGHT * len(order), title=look.title(finding, narrow=narrow)
        )
    )


def words(rates: pl.DataFrame) -> str:
    """The picture in words."""
    return " ".join(
        _("{when}: {swings} swings.").format(when=capitalized(SPANS[when]), swings=in_ten(good))
        for when, good in rates.iter_rows()
    )


def table(rates: pl.DataFrame) -> pl.DataFrame:
    """The picture as rows: When, Swings like this."""
    return pl.DataFrame(
        [
            {_("When"): capitalized(SPANS[when]), _("Swings like this"): in_ten(good)}
            for when, good in rates.iter_rows()
        ]
    )
