"""Load curve: the lead foot's share of the load through the swing, stretched between events."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.labels import EVENTS
from dashboard.text.numbers import capitalized, number

HEIGHT = 300
BLANK = "\u200b"  # a line of a label that is empty, or spaces alone, takes no height in a browser
THIS, FIRST, REFERENCE = mark("this session"), mark("first session"), mark("reference swing")
POSTS = {"event": pl.String, "lo": pl.Float64, "hi": pl.Float64}
NAMES = (THIS, FIRST, REFERENCE)  # what the three are called on screen, unless the caller names them
SHORT = Words({
    "address": "address", "takeaway": "takeaway", "mid_back": "arm parallel", "top": "top",
    "mid_down": "arm parallel", "impact": "impact", "finish": "finish",
})  # fmt: skip


@dataclass(frozen=True)
class SwingCurves:
    """Up to three choices of swings on one time axis, stretched between `events`.

    `which` is `THIS`, `FIRST` or `REFERENCE`; a position is 0 at the first of `events`, 1 at the next …
    `load`: which, position, mean, lo, hi (mean ± one standard deviation over the swings), % of the load.
    `lanes`, without the reference: which, foot (`heel_lanes.HEELS`; of the first choice also
    `foot_lines.FEET`), position, mean, lo, hi, % of body weight.
    `places`: foot, position, mean, lo, hi, % of foot length from the heel.
    `posts`: event, lo, hi: the band of the lead share there, %. `names`: what the three are
    called on screen. Of the first: `times`, mean seconds from takeaway to each event; `swings`, how many;
    `estimated`, whether its heel loads are.
    """

    events: tuple[str, ...]
    load: pl.DataFrame = field(default_factory=pl.DataFrame)
    lanes: pl.DataFrame = field(default_factory=pl.DataFrame)
    places: pl.DataFrame = field(default_factory=pl.DataFrame)
    posts: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=POSTS))
    names: tuple[str, str, str] = NAMES
    times: Mapping[str, float] = field(default_factory=dict)
    swings: int = 0
    estimated: bool = False

    @property
    def event_names(self) -> dict[float, str]:
        """Position → its event on screen."""
        return {float(k): EVENTS[event] for k, event in enumerate(self.events)}


def picture(drawn: SwingCurves, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw the curve."""
    course, names = drawn.load, drawn.names
    x = event_axis(drawn, narrow=narrow)
    y = alt.Y("mean:Q", title=_("Lead share of the load (%)"), scale=alt.Scale(domain=[0, 100]))
    base = alt.Chart(course)
    now, first = (
        base.transform_filter(alt.datum.which == THIS),
        base.transform_filter(alt.datum.which == FIRST),
    )
    reference = base.transform_filter(alt.datum.which == REFERENCE)
    beneath = reference.mark_line(color=theme.QUIET, strokeWidth=9, opacity=0.3, strokeCap="round")
    layers = _posts(drawn)
    layers += [beneath.encode(x=x, y=y)] * (REFERENCE in course["which"].to_list())
    layers += [
        first.mark_line(color=theme.QUIET, strokeWidth=2, strokeDash=[5, 3]).encode(x=x, y=y),
        now.mark_area(color=theme.ACCENT, opacity=0.2).encode(x=x, y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q")),
        now.mark_line(color=theme.ACCENT, strokeWidth=2.5).encode(x=x, y=y),
    ]
    layers += _names(course, names) + _cursor(course, x, names)
    return look.layered(layers, HEIGHT, finding, narrow=narrow)


def event_axis(drawn: SwingCurves, *, narrow: bool) -> alt.X:
    """Swing time stretched between events, with the events' names, and times, under their posts."""
    events, times = drawn.events, drawn.times
    posts = [[SHORT[event], *([number(times[event], "s", 2)] if times else [])] for event in events]
    if narrow:  # neighbours' names would run into one another: every other one stands lower
        posts = [[BLANK] * (len(post) * (place % 2)) + post for place, post in enumerate(posts)]
    title = _("Swing time, stretched between events")
    if times:
        seconds = _("Swing time, stretched between events; seconds from the takeaway")
        title = _("Seconds from the takeaway") if narrow else seconds
    named = ", ".join(json.dumps(post) for post in posts)
    return alt.X(
        "position:Q",
        title=title,
        scale=alt.Scale(domain=[0, max(len(events) - 1, 1)], nice=False),
        axis=alt.Axis(
            values=list(range(len(events))),
            labelExpr=f"[{named}][datum.value]",
            labelAngle=0,
            labelOverlap=False,
            grid=True,
        ),
    )


def _posts(drawn: SwingCurves) -> list[alt.Chart]:
    places = {event: float(k) for k, event in enumerate(drawn.events)}
    placed = drawn.posts.filter(pl.col("event").is_in(list(places))).with_columns(
        pl.col("event").replace_strict(places, default=None).alias("position"),
        pl.col("lo").fill_null(0.0),
        pl.col("hi").fill_null(100.0),
    )
    if placed.is_empty():
        return []
    tip = look.tips({"lo:Q": _("Target from (%)"), "hi:Q": _("Target to (%)")})
    return [
        alt.Chart(placed)
        .mark_bar(color=theme.BAND, width=14, stroke=theme.QUIET, strokeWidth=0.6)
        .encode(x=alt.X("position:Q"), y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q"), tooltip=tip)
    ]


def _names(course: pl.DataFrame, names: tuple[str, str, str]) -> list[alt.Chart]:
    """What the two lines are, in the corner that a swing leaves empty."""
    which = course["which"].to_list()
    rows = [(_("line: {name}").format(name=_(names[0])), theme.ACCENT)]
    rows += [(_("dashes: {name}").format(name=_(names[1])), theme.QUIET)] * (FIRST in which)
    rows += [(_("wide line: {name}").format(name=_(names[2])), theme.QUIET)] * (REFERENCE in which)
    return [
        alt.Chart(pl.DataFrame({"height": [6.0 * (len(rows) - place)]}))
        .mark_text(text=text, align="left", baseline="top", dx=6, color=color)
        .encode(x=alt.XValue(0), y=alt.Y("height:Q"))
        for place, (text, color) in enumerate(rows)
    ]


def _cursor(course: pl.DataFrame, x: alt.X, names: tuple[str, str, str]) -> list[alt.Chart]:
    said = look.in_words(course["mean"], lambda v: number(v, "%"), "said")
    wide = course.with_columns(said).pivot(on="which", index="position", values="said")
    return cursor(
        wide,
        x,
        {
            which: _("Lead share, {name}").format(name=_(name))
            for which, name in zip(NAMES, names, strict=True)
            if which in wide.columns
        },
    )


def cursor(rows: pl.DataFrame, x: alt.X, said: Mapping[str, str]) -> list[alt.Chart]:
    """A line that follows the pointer to the nearest position, with a tooltip of what each curve says there.

    `rows`: position, and one text column for each key of `said` (column → its name in the tooltip).
    """
    near = alt.selection_point(
        name="cursor", nearest=True, on="pointerover", clear="pointerout", fields=["position"], empty=False
    )
    seen = alt.OpacityValue(0, condition={"param": near.name, "empty": False, "value": 0.7})
    tips = look.tips({f"{column}:N": name for column, name in said.items()})
    return [
        alt.Chart(rows)
        .mark_rule(color=theme.INK, strokeWidth=1)
        .encode(x=x, opacity=seen, tooltip=tips)
        .add_params(near)
    ]


def finding(drawn: SwingCurves) -> str:
    """The picture's title: the lead share at the top and at impact, and what it was in the other one."""
    at = {row["event"]: row for row in at_events(drawn).iter_rows(named=True)}
    top, strike = at[EVENTS["top"]], at[EVENTS["impact"]]
    text = _("Lead foot: {top} of the load at the top, {impact} at impact").format(
        top=number(top[THIS], "%"), impact=number(strike[THIS], "%")
    )
    for which, name in zip(NAMES[1:], drawn.names[1:], strict=True):
        if top.get(which) is not None:
            text += _("; {name}: {top} and {impact}").format(
                name=_(name), top=number(top[which], "%"), impact=number(strike[which], "%")
            )
    return text


def words(drawn: SwingCurves) -> str:
    """The picture in words: the lead share at each event."""
    at = at_events(drawn)
    if at.is_empty():
        return _("No swing of this session has its events, so its load can't be drawn.")
    said = ", ".join(
        _("{share} at {event}").format(share=number(row[THIS], "%"), event=row["event"])
        for row in at.iter_rows(named=True)
    )
    text = _("Lead share of the load, {name}: {shares}.").format(name=_(drawn.names[0]), shares=said)
    for which, name in zip(NAMES[1:], drawn.names[1:], strict=True):
        if which in at.columns:
            apart = (pl.col(THIS) - pl.col(which)).abs()
            farthest = at.sort(apart, nulls_last=False).row(-1, named=True)
            text += " " + _("Farthest from {name} at {event}: there {other}, here {this}.").format(
                name=_(name),
                event=farthest["event"],
                other=number(farthest[which], "%"),
                this=number(farthest[THIS], "%"),
            )
    return text


def at_events(drawn: SwingCurves) -> pl.DataFrame:
    """event, and the mean lead share (%) of each session there."""
    names = drawn.event_names
    at = drawn.load.filter(pl.col("position").is_in(list(names))).with_columns(
        pl.col("position").replace_strict(names, default=None).alias("event")
    )
    if at.is_empty():
        return pl.DataFrame()
    wide = at.pivot(on="which", index=["position", "event"], values="mean").sort("position").drop("position")
    return wide if THIS in wide.columns else pl.DataFrame()


def table(drawn: SwingCurves) -> pl.DataFrame:
    """The picture as rows: the lead share at each event."""
    at = at_events(drawn)
    said = [
        look.in_words(at[name], lambda v: number(v, "%"), capitalized(_(shown)))
        for name, shown in zip(NAMES, drawn.names, strict=True)
        if name in at.columns
    ]
    return at.select(pl.col("event").alias(_("Event")), *said) if said else at
