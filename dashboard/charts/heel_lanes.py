"""Heel lanes: the heels' load as two mirrored lanes over one time, so that opposite work looks opposite."""

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.charts.load_curve import FIRST, NAMES, THIS, SwingCurves, cursor, event_axis
from dashboard.text.catalogue import _, mark
from dashboard.text.numbers import capitalized, number

HEIGHT = 300
LEAD, TRAIL = mark("lead heel"), mark("trail heel")


def picture(drawn: SwingCurves, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw the lanes: the lead heel's load upward from the middle, the trail heel's downward.

    A load that a plate's own error puts below zero is drawn as zero and given as measured.
    """
    lanes, names = drawn.lanes, drawn.names
    side = pl.when(pl.col("foot") == TRAIL).then(-1.0).otherwise(1.0)
    heights = {"mean": "height", "lo": "from", "hi": "to"}
    mirrored = lanes.with_columns(
        *((side * pl.col(load).clip(0.0)).alias(height) for load, height in heights.items()),
        pl.lit(0.0).alias("middle"),
    )
    top = max([10.0, *mirrored["to"].abs()])
    x = event_axis(drawn, narrow=narrow)
    scale = alt.Scale(domain=[-1.25 * top, 1.25 * top], nice=False)
    y = alt.Y(
        "height:Q",
        title=_("Heel load (% of body weight)"),
        scale=scale,
        axis=alt.Axis(labelExpr="abs(datum.value)", tickCount=7),
    )
    base = alt.Chart(mirrored)
    now, first = (
        base.transform_filter(alt.datum.which == THIS),
        base.transform_filter(alt.datum.which == FIRST),
    )
    layers = [
        *(
            now.mark_area(color=theme.ACCENT, opacity=opacity).encode(
                x=x, y=alt.Y(start, scale=scale), y2=alt.Y2(end), detail=alt.Detail("foot:N")
            )
            for start, end, opacity in (("height:Q", "middle:Q", 0.1), ("from:Q", "to:Q", 0.25))
        ),
        now.mark_line(color=theme.ACCENT, strokeWidth=2.5).encode(x=x, y=y, detail=alt.Detail("foot:N")),
        first.mark_line(color=theme.QUIET, strokeWidth=2, strokeDash=[5, 3]).encode(
            x=x, y=y, detail=alt.Detail("foot:N")
        ),
        alt.Chart(pl.DataFrame({"middle": [0.0]})).mark_rule(color=theme.INK).encode(y=alt.Y("middle:Q")),
        *_names(mirrored, top, names),
        *_cursor(lanes, x, names),
    ]
    return look.layered(layers, HEIGHT, finding, narrow=narrow)


def _names(mirrored: pl.DataFrame, top: float, names: tuple[str, str, str]) -> list[alt.Chart]:
    feet = pl.DataFrame({"height": [1.15 * top, -1.15 * top], "said": [f"{_(LEAD)} ↑", f"{_(TRAIL)} ↓"]})
    named = alt.Chart(feet).mark_text(align="left", dx=6, fontWeight=600).encode(
        x=alt.XValue(0), y=alt.Y("height:Q"), text=alt.Text("said:N")
    )  # fmt: skip
    if FIRST not in mirrored["which"].to_list():
        return [named]
    note = alt.Chart(pl.DataFrame({"height": [1.15 * top]})).mark_text(
        text=_("dashes: {name}").format(name=_(names[1])), align="right", dx=-6, color=theme.QUIET
    ).encode(x=alt.XValue("width"), y=alt.Y("height:Q"))  # fmt: skip
    return [named, note]


def _cursor(lanes: pl.DataFrame, x: alt.X, names: tuple[str, str, str]) -> list[alt.Chart]:
    said = look.in_words(lanes["mean"], lambda v: number(v, "%"), "said")
    wide = lanes.with_columns(said, (pl.col("foot") + pl.lit(" ") + pl.col("which")).alias("lane")).pivot(
        on="lane", index="position", values="said"
    )
    shown = {
        f"{foot} {which}": f"{capitalized(_(foot))}, {_(name)}"
        for which, name in zip(NAMES, names, strict=True)
        for foot in (LEAD, TRAIL)
    }
    return cursor(wide, x, {lane: name for lane, name in shown.items() if lane in wide.columns})


def finding(drawn: SwingCurves) -> str:
    """The picture's title: what is left under the trail heel at impact, and in the other one."""
    at = drawn.lanes.filter(foot=TRAIL, position=float(drawn.events.index("impact")))
    left = dict(at.select("which", "mean").iter_rows())
    if THIS not in left:
        return _("Heel loads through the swing")
    text = _("Trail heel at impact: {load}").format(load=number(left[THIS], "% of body weight"))
    return f"{text}; {_(drawn.names[1])}: {number(left[FIRST], '%')}" if FIRST in left else text


def words(drawn: SwingCurves) -> str:
    """The picture in words: each heel's load at each event."""
    at = table(drawn)
    if at.is_empty():
        return _("Neither a heel load nor where each foot's load sits was measured in this session.")
    said = "; ".join(
        _("{event}: lead heel {lead}, trail heel {trail}").format(event=event, lead=lead, trail=trail)
        for event, lead, trail in at.iter_rows()
    )
    text = f"{_('Heel load in % of body weight.')} {said}."
    how = _("Heel loads are estimated from where each foot's load sits.")
    return f"{text} {how}" if drawn.estimated else text


def table(drawn: SwingCurves) -> pl.DataFrame:
    """The picture as rows: Event, Lead heel, Trail heel, of this session."""
    names = drawn.event_names
    at = drawn.lanes.filter((pl.col("which") == THIS) & pl.col("position").is_in(list(names)))
    if at.is_empty():
        return pl.DataFrame()
    wide = at.pivot(on="foot", index="position", values="mean").sort("position")
    return wide.select(
        pl.col("position").replace_strict(names, default=None).alias(_("Event")),
        *(
            look.in_words(wide[foot], lambda v: number(v, "%"), capitalized(_(foot)))
            for foot in (LEAD, TRAIL)
        ),
    )
