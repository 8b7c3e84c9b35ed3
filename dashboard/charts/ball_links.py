"""What goes together with the ball, within one student: a row a measure, the ball's change beside it."""

import altair as alt
import polars as pl

from dashboard.charts import look
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import LABELS, label
from dashboard.text.numbers import count, lowered, number
from dashboard.text.sentences import between
from warehouse.vocabulary import GOES_TOGETHER

ROW_HEIGHT = 28
OUTCOMES = Words({"carry_m": "Carry (m)", "side_spread_m": "Distance to the side (m)"})


def picture(rows: pl.DataFrame, outcome: str, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw `rows` of queries.season.ball_links that have a figure; filled where it goes together."""
    known = rows.drop_nulls("per_sd")
    drawn = known.with_columns(
        look.broken(known["name"], 22 if narrow else 44),
        (pl.col("label") == GOES_TOGETHER).alias("together"),
    )
    y = alt.Y("row:N", sort=drawn.sort("position")["row"].to_list(), title=None, axis=look.name_axis())
    x = alt.X(
        "per_sd:Q",
        title=_("Change (m)")
        if narrow
        else _("{outcome}, change with a usual rise of the measure").format(outcome=OUTCOMES[outcome]),
        axis=alt.Axis(tickCount=5, labelExpr=look.MINUS),
    )
    metres = {"per_sd:Q": _("Change, m"), "lo:Q": _("From"), "hi:Q": _("To")}
    written = {field: (name, "+.1f") for field, name in metres.items()}
    tips = look.tips({"name:N": _("Measure"), **written, "n_sessions:Q": _("Sessions")})
    filled = look.filled("datum.together")
    layers = look.dots(drawn, x, y, ("lo", "hi"), tips, fill=filled)
    height = max((1.7 if narrow else 1.2) * ROW_HEIGHT * len(drawn), 60)
    return look.layered(layers, height, finding, narrow=narrow)


def finding(rows: pl.DataFrame, outcome: str) -> str:
    """The title: what goes together with the ball, never what makes it go."""
    sure = rows.filter(pl.col("label") == GOES_TOGETHER)
    if sure.is_empty():
        nothing = {
            "carry_m": _("Nothing measured clearly goes together with carry yet"),
            "side_spread_m": _("Nothing measured clearly goes together with the spread to the sides yet"),
        }
        return nothing[outcome]
    most = sure.sort(pl.col("per_sd").abs(), descending=True).row(0, named=True)
    said = {
        ("carry_m", True): _("Swings with a higher {measure} carry farther"),
        ("carry_m", False): _("Swings with a higher {measure} carry less far"),
        ("side_spread_m", True): _("Swings with a higher {measure} end farther to the side"),
        ("side_spread_m", False): _("Swings with a higher {measure} end closer to the line"),
    }[outcome, most["per_sd"] > 0].format(measure=lowered(most["name"]))
    return (
        said + _(", and {others} with it").format(others=count(len(sure) - 1, "other"))
        if len(sure) > 1
        else said
    )


def words(rows: pl.DataFrame, outcome: str) -> str:
    """The rows as sentences."""
    said = [
        f"{row['name']}: {number(row['per_sd'], 'm', 1, signed=True)} "
        f"({between(number(row['lo'], '', 1, signed=True), number(row['hi'], '', 1, signed=True))}), "
        f"{lowered(label(row['label']))}."
        for row in rows.drop_nulls("per_sd").iter_rows(named=True)
    ]
    sessions = count(int(rows["n_sessions"].max() or 0), "session")  # type: ignore[arg-type]
    beside = _("{outcome} beside each measure, over {sessions}.").format(
        outcome=OUTCOMES[outcome], sessions=sessions
    )
    return f"{beside} {' '.join(said)}"


def table(rows: pl.DataFrame) -> pl.DataFrame:
    """The rows for reading and saving."""
    return rows.select(
        pl.col("name").alias(_("Measure")),
        pl.col("per_sd").round(2).alias(_("Change of the ball, m")),
        pl.col("lo").round(2).alias(_("From")),
        pl.col("hi").round(2).alias(_("To")),
        pl.col("n_sessions").alias(_("Sessions")),
        pl.col("label").replace(LABELS).alias(_("How sure")),
    )
