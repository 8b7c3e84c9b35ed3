"""Foot lines: where each foot's pressure is between heel and toes, as two lines over one swing."""

from collections.abc import Mapping

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.charts.load_curve import SwingCurves, cursor, event_axis
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.numbers import capitalized, number

HEIGHT = 300
LEAD_FOOT, TRAIL_FOOT = mark("lead foot"), mark("trail foot")
FEET = (LEAD_FOOT, TRAIL_FOOT)
PATTERNS = {LEAD_FOOT: [1, 0], TRAIL_FOOT: [6, 4]}
SAID = Words({LEAD_FOOT: "line: lead foot", TRAIL_FOOT: "dashes: trail foot"})
MIDDLE = 50.0  # % of foot length

Bands = Mapping[str, tuple[float | None, float | None]]  # metric → its band
SIDES = {LEAD_FOOT: "lead", TRAIL_FOOT: "trail"}


def picture(drawn: SwingCurves, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw both feet in one ink, the lead foot's line whole, the trail foot's broken, and their spread."""
    x = event_axis(drawn, narrow=narrow)
    y = alt.Y(
        "mean:Q",
        title=_("Heel (0) to toes (100), % of foot length"),
        scale=alt.Scale(domain=[0, 100], nice=False),
        axis=alt.Axis(tickCount=5),
    )
    pattern = alt.StrokeDash(
        "foot:N", scale=alt.Scale(domain=list(FEET), range=list(PATTERNS.values())), legend=None
    )
    middle = alt.Chart(pl.DataFrame({"mean": [MIDDLE]})).mark_rule(color=theme.QUIET).encode(y=y)
    base, foot = alt.Chart(drawn.places), alt.Detail("foot:N")
    spread = base.mark_area(color=theme.INK, opacity=0.1).encode(
        x=x, y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q"), detail=foot
    )
    lines = base.mark_line(color=theme.INK, strokeWidth=2.5).encode(x=x, y=y, strokeDash=pattern, detail=foot)
    layers = [middle, spread, lines, *_names(), *_cursor(drawn.places, x)]
    return look.layered(layers, HEIGHT, finding, narrow=narrow)


def _names() -> list[alt.Chart]:
    return [
        alt.Chart(pl.DataFrame({"mean": [100.0 - 8 * place]}))
        .mark_text(text=SAID[foot], align="left", baseline="top", dx=6, dy=4, color=theme.INK)
        .encode(x=alt.XValue(0), y=alt.Y("mean:Q"))
        for place, foot in enumerate(FEET)
    ]


def _cursor(places: pl.DataFrame, x: alt.X) -> list[alt.Chart]:
    said = look.in_words(places["mean"], number, "said")
    wide = places.with_columns(said).pivot(on="foot", index="position", values="said")
    return cursor(wide, x, {foot: capitalized(_(foot)) for foot in FEET if foot in wide.columns})


def finding(drawn: SwingCurves) -> str:
    """The picture's title: where the lead foot's pressure is at impact."""
    at = drawn.places.filter(foot=LEAD_FOOT, position=float(drawn.events.index("impact")))
    if at.is_empty():
        return _("Where each foot's pressure is through the swing")
    return _("Lead foot's pressure at impact: {place} of the way from heel to toes").format(
        place=number(at["mean"][0], "%")
    )


def words(drawn: SwingCurves) -> str:
    """The picture in words: each foot's place at each event."""
    said = "; ".join(
        _("{event}: lead foot {lead}, trail foot {trail}").format(event=event, lead=lead, trail=trail)
        for event, lead, trail in _at_events(drawn).iter_rows()
    )
    return f"{_('Where the pressure is, 0 at the back of the heel and 100 at the tip of the toes.')} {said}."


def table(drawn: SwingCurves, bands: Bands) -> pl.DataFrame:
    """The picture as rows: each foot's place at each event, and where it should be."""
    at, columns = _at_events(drawn), [pl.Series(_("Event"), list(drawn.event_names.values()))]
    for foot, side in SIDES.items():
        named = capitalized(_(foot))
        ends = [bands.get(f"{event}_{side}_along_pct", (None, None)) for event in drawn.events]
        columns += [
            at[named],
            pl.Series(_("{foot} should be").format(foot=named), [_range(*e) for e in ends]),
        ]
    return pl.DataFrame(columns)


def _range(lo: float | None, hi: float | None) -> str:
    if lo is None and hi is None:
        return "–"
    if hi is None:
        return _("over {lo}").format(lo=number(lo))
    if lo is None:
        return _("under {hi}").format(hi=number(hi))
    return f"{number(lo)}–{number(hi)}"


def _at_events(drawn: SwingCurves) -> pl.DataFrame:
    names = drawn.event_names
    every = pl.DataFrame({"position": list(names)}, schema={"position": pl.Float64})
    wide = every.join(
        drawn.places.pivot(on="foot", index="position", values="mean"), on="position", how="left"
    )
    return wide.select(
        pl.col("position").replace_strict(names, default=None).alias(_("Event")),
        *(
            look.in_words(wide[foot], number, capitalized(_(foot))).fill_null(number(None))
            if foot in wide.columns
            else pl.lit(number(None)).alias(capitalized(_(foot)))
            for foot in FEET
        ),
    )
