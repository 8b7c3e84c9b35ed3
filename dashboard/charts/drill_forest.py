"""Drill forest: what each drill kept and changed on the day, beside the smallest worthwhile change."""

from typing import Any

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import marked
from dashboard.text.numbers import count, number
from dashboard.text.sentences import between

ROW_HEIGHT = 42
KEPT, SAME_DAY = "kept", "same_day"
NAMES = Words({KEPT: "kept", SAME_DAY: "on the day"})
REACH = 15.0  # smallest worthwhile changes; an interval that runs on is cut off here; the table has it whole
SCHEMA = {
    "row": pl.String, "which": pl.String, "value": pl.Float64, "lo": pl.Float64, "hi": pl.Float64,
    "said": pl.String, "label": pl.String, "place": pl.Int64,
}  # fmt: skip


def effect(row: dict[str, Any], name: str, unit: str, places: int) -> str:
    """An effect with its 90 % interval: +8 points (90 % between +2 and +14); a dash where there is none."""
    if row[name] is None:
        return "–"
    plain = "" if unit == "to 1" else unit  # a ratio's change is a plain number
    value = number(row[name], plain, places, signed=True)
    low, high = (number(row[f"{name}_{end}"], "", places, signed=True) for end in ("lo", "hi"))
    return f"{value} ({between(low, high)})"


def picture(effects: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw the forest in the order of the rows.

    `effects`: row (a name on screen), kept, kept_lo, kept_hi, same_day, same_day_lo, same_day_hi (toward
    better, in `unit`), swc (smallest worthwhile change, same unit), unit, places, label. A row without an
    effect keeps its line empty; one without `swc` can't be placed and is left out by the caller.
    """
    drawn = _long(effects, narrow=narrow)
    order = drawn.sort("place")["row"].unique(maintain_order=True).to_list()
    low, high = _reach(drawn)
    names = list(NAMES.values())
    both = drawn["which"].n_unique() > 1
    y = alt.Y("row:N", sort=order, title=None, axis=look.name_axis(), scale=alt.Scale(paddingInner=0.3))
    beside = alt.YOffset("which:N", sort=names, scale=alt.Scale(paddingOuter=0.6))
    x = alt.X(
        "value:Q",
        title=_("Improvement (1 = worth having)"),
        scale=alt.Scale(domain=[low, high], nice=False),
        axis=alt.Axis(tickCount=5 if narrow else 9, labelExpr=look.MINUS),
    )  # fmt: skip
    strip = alt.Chart(pl.DataFrame({"lo": [-1.0], "hi": [1.0]})).mark_rect(color=theme.BAND)
    nought = alt.Chart(pl.DataFrame({"at": [0.0]})).mark_rule(color=theme.QUIET, strokeDash=[2, 3])
    base = alt.Chart(drawn).transform_filter("isValid(datum.value)")
    bar = base.mark_rule(color=theme.INK, strokeWidth=1.6, clip=True)
    fill = alt.Fill(
        "which:N", title=None,
        scale=alt.Scale(domain=names, range=[theme.INK, theme.GROUND]),
        legend=alt.Legend(orient="top", symbolStrokeColor=theme.INK, symbolType="circle") if both else None,
    )  # fmt: skip
    shown = {"row:N": _("Which"), "which:N": _("When"), "said:N": _("Effect"), "label:N": _("Kept")}
    dot = base.mark_point(shape="circle", size=90, stroke=theme.INK, strokeWidth=1.6, opacity=1, clip=True)
    layers = [
        strip.encode(x=alt.X("lo:Q"), x2=alt.X2("hi:Q")),
        nought.encode(x=alt.X("at:Q")),
        bar.encode(x=alt.X("lo:Q"), x2=alt.X2("hi:Q"), y=y, yOffset=beside),
        dot.encode(x=x, y=y, yOffset=beside, fill=fill, tooltip=look.tips(shown)),
    ]
    if not narrow:
        text = alt.Chart(drawn).transform_filter(alt.datum.which == NAMES[KEPT]).mark_text(align="left", dx=8)
        layers.append(text.encode(x=alt.XDatum(high), y=y, text=alt.Text("label:N")))
    return look.layered(layers, max(ROW_HEIGHT * len(order), 70), finding, narrow=narrow)


def _long(effects: pl.DataFrame, *, narrow: bool) -> pl.DataFrame:
    """Two rows an effect, kept and on the day, scaled by its own smallest worthwhile change."""
    rows: list[dict[str, Any]] = []
    for place, row in enumerate(effects.iter_rows(named=True)):
        named = look.on_lines(row["row"], 18 if narrow else 30)
        for name in (KEPT, SAME_DAY):
            scaled = {
                end: None if row[column] is None else row[column] / row["swc"]
                for end, column in (("value", name), ("lo", f"{name}_lo"), ("hi", f"{name}_hi"))
            }
            if name == SAME_DAY and row[name] is None:
                continue
            said = effect(row, name, row["unit"], row["places"])
            rows.append(
                {
                    "row": named,
                    "which": NAMES[name],
                    "said": said,
                    "label": marked(row["label"]),
                    "place": place,
                }
                | scaled
            )
    return pl.DataFrame(rows, schema=SCHEMA)


def _reach(drawn: pl.DataFrame) -> tuple[float, float]:
    found = [v for name in ("lo", "hi", "value") for v in drawn[name].to_list() if v is not None]
    low, high = min([-1.5, *found]), max([1.5, *found])
    return max(low, -REACH) - 0.3, min(high, REACH) + 0.3


def words(effects: pl.DataFrame) -> str:
    """The picture in words, one sentence a row."""
    if effects.is_empty():
        return _("No effect could be worked out yet.")
    said = []
    for row in effects.iter_rows(named=True):
        kept, same_day = (effect(row, name, row["unit"], row["places"]) for name in (KEPT, SAME_DAY))
        text = _("{drill}: kept {effect}").format(drill=row["row"], effect=kept)
        if row["same_day"] is not None:
            text += _(", on the day {effect}").format(effect=same_day)
        said.append(f"{text}. {marked(row['label'])}.")
    return " ".join(said)


def table(effects: pl.DataFrame, heading: str) -> pl.DataFrame:
    """The picture as rows: `heading`, Kept, On the day, Worthwhile from, Students, Times set, In a word."""
    rows = [
        {
            heading: row["row"],
            _("Kept"): effect(row, KEPT, row["unit"], row["places"]),
            _("On the day"): effect(row, SAME_DAY, row["unit"], row["places"]),
            _("Worthwhile from"): worthwhile(row),
            _("Students"): row["n_students"],
            _("Times set"): row["n_doses"],
            _("In a word"): marked(row["label"]),
        }
        for row in effects.iter_rows(named=True)
    ]
    return pl.DataFrame(rows)


def worthwhile(row: dict[str, Any]) -> str:
    """The smallest change worth the time, with its unit."""
    return number(row["swc"], "" if row["unit"] == "to 1" else row["unit"], max(row["places"], 1))


def rests_on(row: dict[str, Any]) -> str:
    """12 students, set 30 times."""
    return _("{students}, set {times}").format(
        students=count(row["n_students"], "student"), times=count(row["n_doses"], "time")
    )
