"""Season line: one student, one metric, session by session, with fitted line, band and what was done."""

from datetime import date, timedelta

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.wording import FEW_SWINGS, Measure, band_place, count, on

HEIGHT = 320
TICK_ROWS = {"lesson": "lessons", "drill": "drills set", "practice": "home practice"}


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
    rows = [kind for kind in TICK_ROWS if kind in ticks["kind"].to_list()]
    low, high = _reach(sessions, line, band)
    floor = low - 0.09 * (high - low) * (len(rows) + 0.5) if rows else low
    y = alt.Y("mean:Q", title=measure.axis, scale=alt.Scale(domain=[floor, high], nice=False, zero=False))
    days = _days(sessions, line, ticks)
    x = alt.X(
        "day:T", title="Day",
        scale=alt.Scale(domain=days),
        axis=alt.Axis(format="%-d %b", grid=False, tickCount=6, labelFlush=True),
    )  # fmt: skip
    layers: list[alt.Chart] = _band(band, low, high, days)
    layers += _fit(line, x, y) + _changes(changes, x) + _points(sessions, x, y, measure)
    for row, kind in enumerate(rows):
        level = floor + 0.09 * (high - low) * (len(rows) - row - 0.5)
        layers += _ticks(ticks.filter(pl.col("kind") == kind), TICK_ROWS[kind], level, days, x)
    return alt.layer(*layers).properties(height=HEIGHT, title=theme.title(finding, narrow=narrow))


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


def _band(
    band: tuple[float | None, float | None], low: float, high: float, days: list[alt.DateTime]
) -> list[alt.Chart]:
    lo, hi = band
    if lo is None and hi is None:
        return []
    frame = pl.DataFrame({"lo": [low if lo is None else lo], "hi": [high if hi is None else hi]})
    strip = alt.Chart(frame).mark_rect(color=theme.BAND).encode(y="lo:Q", y2="hi:Q")
    word = alt.Chart(frame).mark_text(
        text="band", align="right", baseline="top", dx=-4, dy=4, color=theme.QUIET
    ).encode(x=alt.datum(days[1], type="temporal"), y="hi:Q")  # fmt: skip
    return [strip, word]


def _fit(line: pl.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    if line.is_empty():
        return []
    base = alt.Chart(line)
    return [
        base.mark_area(color=theme.INK, opacity=0.14).encode(x=x, y="lo:Q", y2="hi:Q"),
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
    bars = base.mark_rule(color=theme.INK, strokeWidth=1.4).encode(x=x, y="lo:Q", y2="hi:Q")
    filled = alt.Fill(
        "swings:N",
        scale=alt.Scale(domain=["enough", "few"], range=[theme.INK, theme.GROUND]), legend=None,
    )  # fmt: skip
    points = base.mark_point(size=64, stroke=theme.INK, strokeWidth=1.6, opacity=1)
    return [bars, points.encode(x=x, y=y, fill=filled, tooltip=tips)]


def _changes(changes: pl.DataFrame, x: alt.X) -> list[alt.Chart]:
    if changes.is_empty():
        return []
    base = alt.Chart(changes.with_columns(("now on " + pl.col("device")).alias("said"))).encode(x=x)
    return [
        base.mark_rule(color=theme.SIGNAL, strokeDash=[4, 3]),
        base.mark_text(align="left", baseline="top", dx=4, color=theme.SIGNAL).encode(
            text="said:N", y=alt.value(0)
        ),
    ]


def _ticks(
    ticks: pl.DataFrame, name: str, level: float, days: list[alt.DateTime], x: alt.X
) -> list[alt.Chart]:
    placed = ticks.with_columns(pl.lit(level).alias("level"))
    tips = [alt.Tooltip("day:T", title="Day", format="%-d %B %Y"), alt.Tooltip("what:N", title=name)]
    marks = alt.Chart(placed).mark_tick(
        color=theme.INK, orient="vertical", height=9, thickness=2, opacity=0.75
    ).encode(x=x, y=alt.Y("level:Q"), tooltip=tips)  # fmt: skip
    word = alt.Chart(placed.head(1)).mark_text(
        text=name, align="right", baseline="middle", dx=-4, color=theme.QUIET
    ).encode(x=alt.datum(days[1], type="temporal"), y="level:Q")  # fmt: skip
    return [marks, word]


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
