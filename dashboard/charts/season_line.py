"""Season line: one student, one metric, session by session, with fitted line, band and what was done."""

import json
import math
from dataclasses import dataclass
from datetime import date, timedelta

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import Words, _
from dashboard.text.numbers import Band, Measure, count, joined, listed, on
from dashboard.text.sentences import FEW_SWINGS, band_place

HEIGHT = 300
AXIS_LETTERS = 44  # of the axis title on a line beside it
TICK_ROWS = Words({"lesson": "lessons", "drill": "drills", "practice": "practice"})
ROW = 0.09  # height of a tick row, as a part of the range of values


@dataclass(frozen=True)
class SeasonLine:
    """What is drawn; values in the measure's own unit.

    `sessions`: day, mean, lo, hi, n (error bars run lo–hi; null for none). `line`: day, mean, lo, hi of the
    fitted line, may be empty. `band`: (lo, hi); a null side is open. `ticks`: day, kind (lesson, drill,
    practice), what. `changes`: day, device; the first day on another device.
    """

    measure: Measure
    sessions: pl.DataFrame
    line: pl.DataFrame
    band: Band
    ticks: pl.DataFrame
    changes: pl.DataFrame


def picture(drawn: SeasonLine, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw the season under its title."""
    sessions, line, ticks, band = drawn.sessions, drawn.line, drawn.ticks, drawn.band
    kinds = [kind for kind in TICK_ROWS if kind in ticks["kind"].to_list()]
    ends = ("mean", "lo", "hi")
    values = [v for frame in (sessions, line) for name in ends for v in frame[name].to_list()]
    low, high = look.reach(values, band)
    step = ROW * (high - low)
    levels = {kind: low - step * (row + 0.8) for row, kind in enumerate(kinds)}
    floor = low - step * (len(kinds) + 0.4) if kinds else low
    y = alt.Y(
        "mean:Q",
        title=look.on_lines(drawn.measure.axis, AXIS_LETTERS).split("\n"),
        scale=alt.Scale(domain=[floor, high], nice=False, zero=False),
        axis=_axis(low, high, levels),
    )
    x = alt.X(
        "day:T", title=_("Day"),
        scale=alt.Scale(domain=_days(sessions, line, ticks)),
        axis=alt.Axis(format=_(look.SHORT_DAY), grid=False, tickCount=4 if narrow else 8, labelFlush=True),
    )  # fmt: skip
    layers = _band(band, low, high) + _fit(line, x, y)
    layers += _changes(drawn.changes, x, high, narrow=narrow) + _points(sessions, x, y, drawn.measure)
    for kind, level in levels.items():
        layers += _ticks(ticks.filter(pl.col("kind") == kind), TICK_ROWS[kind], level, x)
    return look.layered(layers, HEIGHT, finding, narrow=narrow)


def _axis(low: float, high: float, levels: dict[str, float]) -> alt.Axis:
    """Round values, and below them the names of the tick rows, as labels of one axis."""
    values = [v for v in round_values(low, high) if low <= v <= high]
    named = "".join(
        f"abs(datum.value - {level}) < {1e-6 * (high - low)} ? {json.dumps(TICK_ROWS[kind])} : "
        for kind, level in levels.items()
    )
    return alt.Axis(
        values=[*values, *levels.values()],
        labelExpr=named + look.MINUS,
        format="~f",
        labelOverlap=False,
        gridOpacity=alt.condition(f"datum.value < {low}", alt.value(0), alt.value(1)) if levels else 1,
    )


def round_values(low: float, high: float) -> list[float]:
    """Some five round numbers between `low` and `high`: steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / 5
    power = 10 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough)
    first = math.ceil(low / step)
    return [round(k * step, 10) for k in range(first, math.floor(high / step) + 1)]


def _days(*frames: pl.DataFrame) -> list[alt.DateTime]:
    found: list[date] = [day for frame in frames for day in frame["day"].to_list()]
    first, last = (min(found), max(found)) if found else (date(2000, 1, 1), date(2000, 1, 2))
    margin = timedelta(days=max(3, (last - first).days // 30))
    return [alt.DateTime(year=d.year, month=d.month, date=d.day) for d in (first - margin, last + margin)]


def _band(band: Band, low: float, high: float) -> list[alt.Chart]:
    lo, hi = look.strip(band, low, high)
    if lo is None:
        return []
    frame = pl.DataFrame({"lo": [lo], "hi": [hi]})
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
        look.in_words(sessions["mean"], measure.say, "value"),
    )
    base = alt.Chart(said)
    tips = look.tips({"day:T": _("Day"), "value:N": measure.label, "n:Q": _("Swings")})
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
    names = [_("now on {device}").format(device=device) for device in changes["device"]]
    placed = changes.with_columns(pl.Series("said", names), pl.lit(high).alias("level"))
    tips = look.tips({"said:N": _("Device"), "day:T": _("From")})
    lines = alt.Chart(placed).mark_rule(color=theme.SIGNAL, strokeDash=[4, 3], strokeWidth=1.5)
    layers = [lines.encode(x=x, tooltip=tips)]
    if not narrow:
        name = alt.Chart(placed).mark_text(
            angle=270, align="right", baseline="bottom", dx=-2, dy=-3, color=theme.SIGNAL
        )
        layers.append(name.encode(x=x, y=alt.Y("level:Q"), text=alt.Text("said:N")))
    return layers


def marks_key(drawn: SeasonLine) -> str:
    """What its points, bars, line and shading are, to a coach."""
    points = _("Each point is one session; a hollow one rests on fewer than five swings.")
    bars = _("The true value is probably inside the bar: nine bars in ten contain it.")
    line = _("The line is fitted to all of them; it is probably inside its shading (9 in 10).")
    return joined(points, bars, "" if drawn.line.is_empty() else line)


def changes_key(drawn: SeasonLine) -> str:
    """What the dashed lines are; empty where there is none."""
    changes = [
        _("{device} from {day}").format(device=device, day=on(day))
        for day, device in drawn.changes.select("day", "device").iter_rows()
    ]
    said = _("A dashed line is a change of device: {changes}.").format(changes=listed(changes))
    return said if changes else ""


def _ticks(ticks: pl.DataFrame, name: str, level: float, x: alt.X) -> list[alt.Chart]:
    placed = ticks.with_columns(pl.lit(level).alias("level"))
    tips = look.tips({"day:T": _("Day"), "what:N": name})
    base = alt.Chart(placed).mark_tick(
        color=theme.INK, orient="vertical", height=10, thickness=2, opacity=0.75
    )
    return [base.encode(x=x, y=alt.Y("level:Q"), tooltip=tips)]


def words(drawn: SeasonLine) -> str:
    """The picture in words, for whoever can't see it."""
    measure = drawn.measure
    if drawn.sessions.is_empty():
        return _("{measure}: no session measured yet.").format(measure=measure.label)
    known = drawn.sessions.sort("day")
    first, last = known.row(0, named=True), known.row(-1, named=True)
    place = band_place(last["mean"], *drawn.band)
    if len(known) == 1:
        return _("{measure} on {day}: {value}, {place}. One session so far.").format(
            measure=measure.label, day=on(first["day"]), value=measure.say(first["mean"]), place=place
        )
    start, end = (
        _("{value} on {day}").format(value=measure.say(row["mean"]), day=on(row["day"]))
        for row in (first, last)
    )
    return _(
        "{measure} over {sessions}: {start}, {end}, {place}. Bars show where each session's true value may "
        "lie. Single sessions move about; the season line is what counts."
    ).format(measure=measure.label, sessions=count(len(known), "session"), start=start, end=end, place=place)


def table(drawn: SeasonLine) -> pl.DataFrame:
    """The picture as rows: Day, value with unit, its doubt, Swings."""
    say = drawn.measure.say
    rows = [
        {
            _("Day"): row["day"],
            drawn.measure.label: say(row["mean"]),
            _("90 % between"): _("{lo} to {hi}").format(lo=say(row["lo"]), hi=say(row["hi"])),
            _("Swings"): row["n"],
        }
        for row in drawn.sessions.sort("day").iter_rows(named=True)
    ]
    return pl.DataFrame(rows)
