"""Practice weeks: on how many days of each week there was home practice, and how long where it was timed."""

from datetime import date, timedelta

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import _
from dashboard.text.numbers import count, number, on

HEIGHT = 150
WEEKS = 8


def weeks(practice: pl.DataFrame, last: date) -> pl.DataFrame:
    """One row a week of the eight that end with `last`, from Mondays: week, days (0–7), minutes.

    `practice`: day, dose, unit.
    """
    monday = last - timedelta(days=last.weekday())
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
    mondays = [alt.DateTime(year=d.year, month=d.month, date=d.day) for d in rows["week"].to_list()[1::2]]
    return (
        alt.Chart(rows)
        .mark_bar(color=theme.ACCENT, size=16 if narrow else 28)
        .encode(
            x=alt.X(
                "week:T",
                title=_("Week starting"),
                scale=alt.Scale(padding=16),
                axis=alt.Axis(format=_(look.SHORT_DAY), grid=False, values=mondays),
            ),
            y=alt.Y(
                "days:Q",
                title=_("Days practised"),
                scale=alt.Scale(domain=[0, 7]),
                axis=alt.Axis(tickCount=7),
            ),
            tooltip=look.tips({"week:T": _("Week starting"), "days:Q": _("Days"), "minutes:Q": _("Minutes")}),
        )
        .properties(autosize=look.FIT, height=HEIGHT, title=look.title(finding, narrow=narrow))
    )


def words(rows: pl.DataFrame) -> str:
    """The picture in words."""
    last = rows.row(-1, named=True)
    days = count(int(last["days"]), "day")
    timed = f"{days}, {number(last['minutes'], 'minutes')}" if last["minutes"] else days
    return _(
        "Home practice on {days} in {weeks} weeks. In the last of them: {last_days}, {rest} without."
    ).format(
        days=count(int(rows["days"].sum()), "day"), weeks=WEEKS, last_days=timed, rest=7 - int(last["days"])
    )


def table(rows: pl.DataFrame) -> pl.DataFrame:
    """The picture as rows: Week from, Days, Minutes."""
    return rows.select(
        pl.Series(_("Week from"), [on(week) for week in rows["week"]]),
        pl.col("days").alias(_("Days")),
        pl.col("minutes").alias(_("Minutes")),
    )
