"""Ten swings: how many of ten go well, now and before, as ten circles a row; for students and parents."""

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.numbers import in_ten

ROW_HEIGHT = 44
NOW, BEFORE = "lately", "before"


def picture(rates: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.Chart:
    """Draw the rows. `rates`: when (`NOW`, `BEFORE`), good (0–1): the share of swings that go well."""
    dots = rates.select("when", pl.col("good")).join(pl.DataFrame({"swing": range(1, 11)}), how="cross")
    dots = dots.with_columns(
        pl.when(pl.col("swing") <= (10 * pl.col("good")).round()).then(pl.lit("like this")).otherwise(
            pl.lit("not yet")
        ).alias("how")
    )  # fmt: skip
    order = [when for when in (NOW, BEFORE) if when in rates["when"].to_list()]
    return (
        alt.Chart(dots)
        .mark_point(shape="circle", size=190 if narrow else 260, stroke=theme.INK, strokeWidth=1.6, opacity=1)
        .encode(
            x=alt.X("swing:O", title="Swings of ten", axis=alt.Axis(labelAngle=0, domain=False, ticks=False)),
            y=alt.Y("when:N", sort=order, title=None, axis=alt.Axis(domain=False, ticks=False)),
            fill=alt.Fill(
                "how:N",
                title=None,
                scale=alt.Scale(domain=["like this", "not yet"], range=[theme.LEAD, theme.GROUND]),
                legend=alt.Legend(orient="bottom", symbolStrokeColor=theme.INK),
            ),
        )
        .properties(
            autosize=look.FIT, height=ROW_HEIGHT * len(order), title=look.title(finding, narrow=narrow)
        )
    )


def words(rates: pl.DataFrame) -> str:
    """The picture in words."""
    return ". ".join(f"{when.capitalize()}: {in_ten(good)} swings" for when, good in rates.iter_rows()) + "."


def table(rates: pl.DataFrame) -> pl.DataFrame:
    """The picture as rows: When, Swings like this."""
    return rates.select(
        pl.col("when").str.to_titlecase().alias("When"),
        pl.col("good").map_elements(in_ten, return_dtype=pl.String).alias("Swings like this"),
    )
