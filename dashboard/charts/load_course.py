"""Load course: the lead foot's share of the load through the swing, stretched between events."""

from collections.abc import Sequence

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.wording import EVENTS, number

HEIGHT = 300
THIS, FIRST = "this session", "first session"
SHORT = {
    "address": "address",
    "takeaway": "takeaway",
    "mid_back": "arm parallel",
    "top": "top",
    "mid_down": "arm parallel",
    "impact": "impact",
    "finish": "finish",
}


def picture(
    course: pl.DataFrame,
    posts: pl.DataFrame,
    events: Sequence[str],
    finding: str,
    *,
    narrow: bool = False,
) -> alt.LayerChart:
    """Draw the course.

    Frames: `course` which (`THIS` or `FIRST`), position (0 at the first of `events`, 1 at the next …), mean,
    lo, hi (mean ± one standard deviation over the swings), % of the load; `posts` event, lo, hi: the band of
    the lead share at an event, %, may be empty.
    """
    x = event_axis(events, narrow=narrow)
    y = alt.Y("mean:Q", title="Lead share of the load (%)", scale=alt.Scale(domain=[0, 100]))
    base = alt.Chart(course)
    now, first = (
        base.transform_filter(alt.datum.which == THIS),
        base.transform_filter(alt.datum.which == FIRST),
    )
    layers = _posts(posts, events)
    layers += [
        first.mark_line(color=theme.QUIET, strokeWidth=2, strokeDash=[5, 3]).encode(x=x, y=y),
        now.mark_area(color=theme.LEAD, opacity=0.2).encode(x=x, y="lo:Q", y2="hi:Q"),
        now.mark_line(color=theme.LEAD, strokeWidth=2.5).encode(x=x, y=y),
    ]
    return alt.layer(*layers, *_names(course)).properties(
        height=HEIGHT, title=theme.title(finding, narrow=narrow)
    )


def event_axis(events: Sequence[str], *, narrow: bool) -> alt.X:
    """Swing time stretched between events, with the events' names under their posts."""
    named = ", ".join(f"'{SHORT[event]}'" for event in events)
    return alt.X(
        "position:Q",
        title="Swing time, stretched between events",
        scale=alt.Scale(domain=[0, max(len(events) - 1, 1)], nice=False),
        axis=alt.Axis(
            values=list(range(len(events))),
            labelExpr=f"[{named}][datum.value]",
            labelAngle=-45 if narrow else 0,
            labelOverlap=False,
            grid=True,
        ),
    )


def _posts(posts: pl.DataFrame, events: Sequence[str]) -> list[alt.Chart]:
    placed = posts.filter(pl.col("event").is_in(list(events))).with_columns(
        pl.col("event")
        .replace_strict({e: float(k) for k, e in enumerate(events)}, default=None)
        .alias("position"),
        pl.col("lo").fill_null(0.0),
        pl.col("hi").fill_null(100.0),
    )
    if placed.is_empty():
        return []
    tip = [alt.Tooltip("lo:Q", title="Band from (%)"), alt.Tooltip("hi:Q", title="Band to (%)")]
    return [
        alt.Chart(placed)
        .mark_rule(color=theme.BAND, strokeWidth=16, strokeCap="butt")
        .encode(x="position:Q", y="lo:Q", y2="hi:Q", tooltip=tip)
    ]


def _names(course: pl.DataFrame) -> list[alt.Chart]:
    """The lines' own names at their start, so no legend has to be read."""
    named = []
    for which, color, dy in ((THIS, theme.LEAD, -14), (FIRST, theme.QUIET, 16)):
        start = course.filter(pl.col("which") == which).sort("position").head(1)
        if not start.is_empty():
            named.append(
                alt.Chart(start)
                .mark_text(text=which, align="left", dx=4, dy=dy, color=color)
                .encode(x="position:Q", y="mean:Q")
            )
    return named


def words(course: pl.DataFrame, events: Sequence[str]) -> str:
    """The picture in words: the lead share at each event."""
    at = at_events(course, events)
    if at.is_empty():
        return "No swing of this session has its events, so its course can't be drawn."
    said = ", ".join(f"{number(row[THIS], '%')} at {row['Event']}" for row in at.iter_rows(named=True))
    text = f"Lead share of the load in this session: {said}."
    if FIRST in at.columns:
        changed = (
            at.with_columns((pl.col(THIS) - pl.col(FIRST)).abs().alias("moved"))
            .sort("moved")
            .row(-1, named=True)
        )
        text += (
            f" Farthest from the first session at {changed['Event']}: then {number(changed[FIRST], '%')}, "
            f"now {number(changed[THIS], '%')}."
        )
    return text


def at_events(course: pl.DataFrame, events: Sequence[str]) -> pl.DataFrame:
    """Event, and the mean lead share (%) of each session there."""
    names = {float(k): EVENTS[event] for k, event in enumerate(events)}
    at = course.filter(pl.col("position").is_in(list(names))).with_columns(
        pl.col("position").replace_strict(names, default=None).alias("Event")
    )
    if at.is_empty():
        return pl.DataFrame()
    wide = at.pivot(on="which", index=["position", "Event"], values="mean").sort("position").drop("position")
    return wide if THIS in wide.columns else pl.DataFrame()


def table(course: pl.DataFrame, events: Sequence[str]) -> pl.DataFrame:
    """The picture as rows: the lead share at each event."""
    at = at_events(course, events)
    said = [
        pl.col(name).map_elements(lambda v: number(v, "%"), return_dtype=pl.String).alias(name.capitalize())
        for name in (THIS, FIRST)
        if name in at.columns
    ]
    return at.select("Event", *said) if said else at
