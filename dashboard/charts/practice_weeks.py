"""Practice weeks: on how many days of each week there was home practice, and how long where it was timed."""

from datetime import date, timedelta

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.wording import count, number, on

HEIGHT = 150
WEEKS = 8


def weeks(practice: pl.DataFrame, today: date) -> pl.DataFrame:
    """One row a week of the last eight, Monday first: week, days (0–7), minutes. `practice`: day, dose, unit."""
    monday = today - timedelta(days=today.weekday())
    grid = pl.DataFrame({"week": [monday - timedelta(weeks=k) for k in range(WEEKS - 1, -1, -1)]})
    timed = pl.when(pl.col("unit") == "minutes").then(pl.col("dose")).otherwise(0.0)
    found = (
        practice.select(pl.col("day").dt.truncate("1w").alias("week"), "day", timed.alias("minutes"))
        .group_by("week")
        .agg(pl.col("day").n_unique().alias("days"), pl.col("minutes").sum())
    )
    return grid.join(found, on="week", how="left").fill_null(0).sort("week")


def picture(rows: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.Chart:
    """Draw the weeks. `rows` are those of `weeks`."""
    return (
        alt.Chart(rows)
        .mark_bar(color=theme.LEAD, size=16 if narrow else 28)
        .encode(
            x=alt.X("week:T", title="Week starting", axis=alt.Axis(format="%-d %b", grid=False, tickCount=4)),
            y=alt.Y(
                "days:Q", title="Days practised", scale=alt.Scale(domain=[0, 7]), axis=alt.Axis(tickCount=7)
            ),
            tooltip=[alt.Tooltip("days:Q", title="Days"), alt.Tooltip("minutes:Q", title="Minutes")],
        )
        .properties(height=HEIGHT, title=theme.title(finding, narrow=narrow))
    )


def words(rows: pl.DataFrame) -> str:
    """The picture in words."""
    last = rows.row(-1, named=True)
    timed = f", {number(last['minutes'], 'minutes')}" if last["minutes"] else ""
    return (
        f"Home practice on {count(int(rows['days'].sum()), 'day')} in the last {WEEKS} weeks. This week: "
        f"{count(int(last['days']), 'day')}{timed}, {7 - int(last['days'])} without."
    )


def table(rows: pl.DataFrame) -> pl.DataFrame:
    """The picture as rows: Week from, Days, Minutes."""
    return rows.select(
        pl.col("week").map_elements(on, return_dtype=pl.String).alias("Week from"),
        pl.col("days").alias("Days"),
        pl.col("minutes").alias("Minutes"),
    )
