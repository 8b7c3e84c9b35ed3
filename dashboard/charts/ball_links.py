"""What goes together with the ball, within one student: a row a measure, the ball's change beside it."""

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look, name_axis
from dashboard.text.labels import GOES_TOGETHER, LABELS, label
from dashboard.text.numbers import count, number

ROW_HEIGHT = 28
OUTCOMES = {"carry_m": "Carry (m)", "side_spread_m": "Spread to the sides (m)"}


def picture(rows: pl.DataFrame, outcome: str, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw `rows` of queries.season.ball_links that have a figure; filled where it goes together."""
    drawn = rows.drop_nulls("per_sd").with_columns(
        name_axis.broken("name", 22 if narrow else 44),
        (pl.col("label") == GOES_TOGETHER).alias("together"),
    )
    y = alt.Y("row:N", sort=drawn.sort("position")["row"].to_list(), title=None, axis=name_axis.axis())
    x = alt.X(
        "per_sd:Q",
        title="Change (m)" if narrow else f"{OUTCOMES[outcome]}, change with a usual rise of the measure",
        axis=alt.Axis(tickCount=5, labelExpr="replace(datum.label, '-', '−')"),
    )
    tips = [
        alt.Tooltip("name:N", title="Measure"),
        alt.Tooltip("per_sd:Q", title="Change, m", format="+.1f"),
        alt.Tooltip("lo:Q", title="From", format="+.1f"),
        alt.Tooltip("hi:Q", title="To", format="+.1f"),
        alt.Tooltip("n_sessions:Q", title="Sessions"),
    ]
    base = alt.Chart(drawn)
    nought = alt.Chart(pl.DataFrame({"at": [0.0]})).mark_rule(color=theme.QUIET, strokeDash=[2, 3])
    layers = [
        nought.encode(x=alt.X("at:Q")),
        base.mark_rule(color=theme.INK, strokeWidth=1.6).encode(x=alt.X("lo:Q"), x2=alt.X2("hi:Q"), y=y),
        base.mark_point(shape="circle", size=80, stroke=theme.INK, strokeWidth=1.6, opacity=1).encode(
            x=x,
            y=y,
            fill=alt.condition("datum.together", alt.value(theme.INK), alt.value(theme.GROUND)),
            tooltip=tips,
        ),
    ]
    return alt.layer(*layers).properties(
        autosize=look.FIT,
        height=max((1.7 if narrow else 1.2) * ROW_HEIGHT * len(drawn), 60),
        title=look.title(finding, narrow=narrow),
    )


def finding(rows: pl.DataFrame, outcome: str) -> str:
    """The title: what goes together with the ball, never what makes it go."""
    what = "carry" if outcome == "carry_m" else "spread to the sides"
    sure = rows.filter(pl.col("label") == GOES_TOGETHER)
    if sure.is_empty():
        return f"Nothing measured clearly goes together with {what} yet"
    most = sure.sort(pl.col("per_sd").abs(), descending=True).row(0, named=True)
    how = "more" if most["per_sd"] > 0 else "less"
    others = f", and {count(len(sure) - 1, 'other')} with it" if len(sure) > 1 else ""
    name = most["name"][:1].lower() + most["name"][1:]
    return f"In sessions with a higher {name} there is {how} {what}{others}"


def words(rows: pl.DataFrame, outcome: str) -> str:
    """The rows as sentences."""
    told = [
        f"{row['name']}: {number(row['per_sd'], 'm', 1, signed=True)} (90 % between "
        f"{number(row['lo'], '', 1, signed=True)} and {number(row['hi'], '', 1, signed=True)}), "
        f"{label(row['label']).lower()}."
        for row in rows.drop_nulls("per_sd").iter_rows(named=True)
    ]
    sessions = count(int(rows["n_sessions"].max() or 0), "session")  # type: ignore[arg-type]
    return f"{OUTCOMES[outcome]} beside each measure, over {sessions}. {' '.join(told)}"


def table(rows: pl.DataFrame) -> pl.DataFrame:
    """The rows for reading and saving."""
    return rows.select(
        pl.col("name").alias("Measure"),
        pl.col("per_sd").round(2).alias("Change of the ball, m"),
        pl.col("lo").round(2).alias("From"),
        pl.col("hi").round(2).alias("To"),
        pl.col("n_sessions").alias("Sessions"),
        pl.col("label").replace(LABELS).alias("How sure"),
    )
