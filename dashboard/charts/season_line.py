"""Season line: one student, one metric, session by session, with fitted line, band and what was done."""

import math
from datetime import date, timedelta

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.numbers import Measure, count, on
from dashboard.text.sentences import FEW_SWINGS, band_place

HEIGHT = 300
TICK_ROWS = {"lesson": "lessons", "drill": "drills", "practice": "practice"}
ROW = 0.09  # height of a tick row, as a part of the range of values


def picture(
    sessions: pl.DataFrame,
    line: pl.DataFrame,
    band: tuple[float | None, float | None],
    ticks: pl.DataFrame,
    changes: pl.DataFrame,
    measure: Measure,
    finding: str,
    *,
    narrow: bool = False,
) -> alt.LayerChart:
    """Draw the season.

    Frames: `sessions` day, mean, lo, hi, n (error bars run lo–hi; null for none); `line` day, mean, lo, hi of
    the fitted line, may be empty; `ticks` day, kind (lesson, drill, practice), what; `changes` day, device:
    first day on another device. `band` is (lo, hi); a null side is open. Values in the metric's own unit.
    """
    kinds = [kind for kind in TICK_ROWS if kind in ticks["kind"].to_list()]
    low, high = _reach(sessions, line, band)
    step = ROW * (high - low)
    levels = {kind: low - step * (row + 0.8) for row, kind in enumerate(kinds)}
    floor = low - step * (len(kinds) + 0.4) if kinds else low
    y = alt.Y(
        "mean:Q",
        title=measure.axis,
        scale=alt.Scale(domain=[floor, high], nice=False, zero=False),
        axis=_axis(low, high, levels),
    )
    x = alt.X(
        "day:T", title="Day",
        scale=alt.Scale(domain=_days(sessions, line, ticks)),
        axis=alt.Axis(format="%-d %b", grid=False, tickCount=4 if narrow else 8, labelFlush=True),
    )  # fmt: skip
    layers = _band(band, low, high) + _fit(line, x, y)
    layers += _changes(changes, x, high, narrow=narrow) + _points(sessions, x, y, measure)
    for kind, level in levels.items():
        layers += _ticks(ticks.filter(pl.col("kind") == kind), TICK_ROWS[kind], level, x)
    return alt.layer(*layers).properties(
        height=HEIGHT, autosize=look.FIT, title=look.title(finding, narrow=narrow)
    )


def _axis(low: float, high: float, levels: dict[str, float]) -> alt.Axis:
    """Round values, and below them the names of the tick rows, as labels of one axis."""
    values = [v for v in round_values(low, high) if low <= v <= high]
    named = "".join(
        f"abs(datum.value - {level}) < {1e-6 * (high - low)} ? '{TICK_ROWS[kind]}' : "
        for kind, level in levels.items()
    )
    return alt.Axis(
        values=[*values, *levels.values()],
        labelExpr=f"{named}replace(datum.label, '-', '−')",
        format="~f",
        labelOverlap=False,
        gridOpacity=alt.condition(f"datum.value < {low}", alt.value(0), alt.value(1)) if levels else 1,
    )


def round_values(low: float, high: float, wanted: int = 5) -> list[float]:
    """Round numbers between `low` and `high`: steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / wanted
    power = 10 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough)
    first = math.ceil(low / step)
    return [round(k * step, 10) for k in range(first, math.floor(high / step) + 1)]


def _reach(
    sessions: pl.DataFrame, line: pl.DataFrame, band: tuple[float | None, float | None]
) -> tuple[float, float]:
    values = [v for name in ("mean", "lo", "hi") for v in sessions[name].to_list() if v is not None]
    values += [v for name in ("lo", "hi") for v in line[name].to_list()]
    values += [v for v in band if v is not None]
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    margin = 0.06 * (high - low) or abs(high) * 0.1 or 1.0
    return low - margin, high + margin


def _days(*frames: pl.DataFrame) -> list[alt.DateTime]:
    found: list[date] = [day for frame in frames for day in frame["day"].to_list()]
    first, last = (min(found), max(found)) if found else (date(2000, 1, 1), date(2000, 1, 2))
    spare = timedelta(days=max(3, (last - first).days // 30))
    return [alt.DateTime(year=d.year, month=d.month, date=d.day) for d in (first - spare, last + spare)]


def _band(band: tuple[float | None, float | None], low: float, high: float) -> list[alt.Chart]:
    lo, hi = band
    if lo is None and hi is None:
        return []
    frame = pl.DataFrame({"lo": [low if lo is None else lo], "hi": [high if hi is None else hi]})
    return [alt.Chart(frame).mark_rect(color=theme.BAND).encode(y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q"))]


def _fit(line: pl.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    if line.is_empty():
        return []
    base = alt.Chart(line)
    return [
        base.mark_area(color=theme.INK, opacity=0.14).encode(x=x, y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q")),
        base.mark_line(color=theme.INK, strokeWidth=2).encode(x=x, y=y),
    ]


def _points(sessions: pl.DataFrame, x: alt.X, y: alt.Y, measure: Measure) -> list[alt.Chart]:
    said = sessions.with_columns(
        pl.when(pl.col("n") < FEW_SWINGS).then(pl.lit("few")).otherwise(pl.lit("enough")).alias("swings"),
        pl.col("mean").map_elements(measure.say, return_dtype=pl.String).alias("value"),
    )
    base = alt.Chart(said)
    tips = [
        alt.Tooltip("day:T", title="Day", format="%-d %B %Y"),
        alt.Tooltip("value:N", title=measure.label),
        alt.Tooltip("n:Q", title="Swings"),
    ]
    bars = base.mark_rule(color=theme.INK, strokeWidth=1.4).encode(x=x, y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q"))
    filled = alt.Fill(
        "swings:N",
        scale=alt.Scale(domain=["enough", "few"], range=[theme.INK, theme.GROUND]), legend=None,
    )  # fmt: skip
    points = base.mark_point(size=64, stroke=theme.INK, strokeWidth=1.6, opacity=1)
    return [bars, points.encode(x=x, y=y, fill=filled, tooltip=tips)]


def _changes(changes: pl.DataFrame, x: alt.X, high: float, *, narrow: bool) -> list[alt.Chart]:
    """A dashed line at each change of device; where there is room its name, upright, beside it."""
    if changes.is_empty():
        return []
    placed = changes.with_columns(("now on " + pl.col("device")).alias("said"), pl.lit(high).alias("level"))
    tips = [alt.Tooltip("said:N", title="Device"), alt.Tooltip("day:T", title="From", format="%-d %B %Y")]
    lines = alt.Chart(placed).mark_rule(color=theme.SIGNAL, strokeDash=[4, 3], strokeWidth=1.5)
    layers = [lines.encode(x=x, tooltip=tips)]
    if not narrow:
        name = alt.Chart(placed).mark_text(
            angle=270, align="right", baseline="bottom", dx=-2, dy=-3, color=theme.SIGNAL
        )
        layers.append(name.encode(x=x, y=alt.Y("level:Q"), text=alt.Text("said:N")))
    return layers


def _ticks(ticks: pl.DataFrame, name: str, level: float, x: alt.X) -> list[alt.Chart]:
    placed = ticks.with_columns(pl.lit(level).alias("level"))
    tips = [alt.Tooltip("day:T", title="Day", format="%-d %B %Y"), alt.Tooltip("what:N", title=name)]
    base = alt.Chart(placed).mark_tick(
        color=theme.INK, orient="vertical", height=10, thickness=2, opacity=0.75
    )
    return [base.encode(x=x, y=alt.Y("level:Q"), tooltip=tips)]


def words(sessions: pl.DataFrame, band: tuple[float | None, float | None], measure: Measure) -> str:
    """The picture in words, for whoever can't see it."""
    if sessions.is_empty():
        return f"{measure.label}: no session measured yet."
    known = sessions.sort("day")
    first, last = known.row(0, named=True), known.row(-1, named=True)
    place = band_place(last["mean"], *band)
    if len(known) == 1:
        only = f"{measure.label} on {on(first['day'])}: {measure.say(first['mean'])}"
        return f"{only}, {place}. One session so far."
    start = f"{measure.say(first['mean'])} on {on(first['day'])}"
    end = f"{measure.say(last['mean'])} on {on(last['day'])}"
    return (
        f"{measure.label} over {count(len(known), 'session')}: {start}, {end}, {place}. Bars show where each "
        "session's true value may lie. Single sessions move about; the season line is what counts."
    )


def table(sessions: pl.DataFrame, measure: Measure) -> pl.DataFrame:
    """The picture as rows: Day, value with unit, its doubt, Swings."""

    def said(name: str) -> pl.Expr:
        return pl.col(name).map_elements(measure.say, return_dtype=pl.String, skip_nulls=False)

    return sessions.sort("day").select(
        pl.col("day").alias("Day"),
        said("mean").alias(measure.label),
        (said("lo") + " to " + said("hi")).alias("90 % between"),
        pl.col("n").alias("Swings"),
    )
