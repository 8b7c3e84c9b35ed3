"""Heel lanes: what each foot carries and how much of it its heel, as two mirrored lanes over one time."""

from typing import Any

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.charts.foot_lines import FEET, LEAD_FOOT, TRAIL_FOOT
from dashboard.charts.load_curve import FIRST, NAMES, THIS, SwingCurves, cursor, event_axis
from dashboard.text.catalogue import _, mark
from dashboard.text.numbers import capitalized, number

HEIGHT = 340
LEAD, TRAIL = mark("lead heel"), mark("trail heel")
HEELS = (LEAD, TRAIL)


def picture(drawn: SwingCurves, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw the lanes: the lead foot's load upward from the middle, the trail foot's downward.

    From the middle outward the heel's part comes first, then that of the ball and toes. A load that a plate's
    own error puts below zero is drawn as zero and given as measured.
    """
    lanes, names = drawn.lanes, drawn.names
    side = pl.when(pl.col("foot").is_in([TRAIL, TRAIL_FOOT])).then(-1.0).otherwise(1.0)
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
        title=_("Load (% of body weight)"),
        scale=scale,
        axis=alt.Axis(labelExpr="abs(datum.value)", tickCount=7),
    )
    base, foot = alt.Chart(mirrored), alt.Detail("foot:N")
    now, first = (base.transform_filter(alt.datum.which == which) for which in (THIS, FIRST))
    layers: list[alt.Chart] = []
    for lanes_of, inside, spread, width in ((FEET, 0.1, 0.15, 1.2), (HEELS, 0.25, 0.3, 2.5)):
        part = now.transform_filter(alt.FieldOneOfPredicate("foot", list(lanes_of)))
        layers += [
            part.mark_area(color=theme.ACCENT, opacity=opacity).encode(
                x=x, y=alt.Y(start, scale=scale), y2=alt.Y2(end), detail=foot
            )
            for start, end, opacity in (("height:Q", "middle:Q", inside), ("from:Q", "to:Q", spread))
        ]
        layers.append(part.mark_line(color=theme.ACCENT, strokeWidth=width).encode(x=x, y=y, detail=foot))
    layers += [
        first.mark_line(color=theme.QUIET, strokeWidth=2, strokeDash=[5, 3]).encode(x=x, y=y, detail=foot),
        alt.Chart(pl.DataFrame({"middle": [0.0]})).mark_rule(color=theme.INK).encode(y=alt.Y("middle:Q")),
        *_names(mirrored, top, names),
        *_cursor(lanes, x, names),
    ]
    return look.layered(layers, HEIGHT, finding, narrow=narrow)


def _names(mirrored: pl.DataFrame, top: float, names: tuple[str, str, str]) -> list[alt.Chart]:
    feet = pl.DataFrame(
        {"height": [1.15 * top, -1.15 * top], "said": [f"{_(LEAD_FOOT)} ↑", f"{_(TRAIL_FOOT)} ↓"]}
    )
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
        for foot in (*FEET, *HEELS)
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
    """The picture in words: each foot's load at each event, and its heel's."""
    at = _at_events(drawn)
    if at.is_empty():
        return _("Neither a heel load nor where each foot's load sits was measured in this session.")
    each = _("{event}: lead foot {lead} (its heel {lead_heel}), trail foot {trail} (its heel {trail_heel})")
    lanes = {"lead": LEAD_FOOT, "lead_heel": LEAD, "trail": TRAIL_FOOT, "trail_heel": TRAIL}
    said = "; ".join(
        each.format(
            event=row["event"], **{key: number(row[f"mean_{lane}"], "%") for key, lane in lanes.items()}
        )
        for row in at.iter_rows(named=True)
    )
    text = f"{_('Load in % of body weight.')} {said}."
    how = _("Heel loads are estimated from where each foot's load sits.")
    return f"{text} {how}" if drawn.estimated else text


def table(drawn: SwingCurves) -> pl.DataFrame:
    """The picture as rows: Event, Lead foot, Lead heel, Trail foot, Trail heel, each with its spread."""
    return pl.DataFrame(
        [
            {_("Event"): row["event"]}
            | {capitalized(_(foot)): _spread(row, foot) for foot in (LEAD_FOOT, LEAD, TRAIL_FOOT, TRAIL)}
            for row in _at_events(drawn).iter_rows(named=True)
        ]
    )


def _spread(row: dict[str, Any], foot: str) -> str:
    """A load, and one standard deviation either way: 12 % (10 to 15); of one swing there is none."""
    mean, lo, hi = (row[f"{end}_{foot}"] for end in ("mean", "lo", "hi"))
    ends = "" if lo == hi else f" ({number(lo)}{_(' to ')}{number(hi)})"
    return f"{number(mean, '%')}{ends}"


def _at_events(drawn: SwingCurves) -> pl.DataFrame:
    """One row an event of this session: its name, and each lane's mean, lo and hi; null where it has none."""
    names = drawn.event_names
    at = drawn.lanes.filter((pl.col("which") == THIS) & pl.col("position").is_in(list(names)))
    if at.is_empty():
        return pl.DataFrame()
    wide = at.pivot(
        on="foot", on_columns=[*FEET, *HEELS], index="position", values=["mean", "lo", "hi"]
    ).sort("position")
    return wide.with_columns(event=pl.col("position").replace_strict(names, default=None))
