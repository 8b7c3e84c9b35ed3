"""Calibration goals: how often a claim held in simulated academies, beside its goal."""

import math
from typing import Any

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import _
from dashboard.text.numbers import count, number

ROW_HEIGHT, LINE_HEIGHT = 46, 15  # px: a row of three marks; a line of its label
# Sizes of academy by shape and shade, never by hue alone.
SHAPES = ["circle", "square", "triangle-up", "diamond"]


def said(figure: float | None, unit: str) -> str:
    """A share as a percentage, a bias as a number of smallest worthwhile changes, a count as it is."""
    if figure is None:
        return "–"
    return number(100 * figure, "%", 1) if unit == "share" else number(figure, "", 2, signed=unit == "swc")


def picture(rows: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw one claim: `rows` as `claims.in_words` gives them; a row a truth, a mark a size."""
    unit = str(rows["unit"][0])
    factor = 100.0 if unit == "share" else 1.0
    ordered = rows.sort("truth", "students")
    drawn = ordered.with_columns(
        look.broken(ordered["truth"], 20 if narrow else 36),
        pl.Series("size", [count(n, "student") for n in ordered["students"]]),
        pl.Series("held", [said(figure, unit) for figure in ordered["figure"]]),
        *(pl.col(name) * factor for name in ("figure", "goal_lo", "goal_hi")),
    )
    low, high = _reach(drawn, {"share": (0.0, 100.0), "count": (0.0, math.inf)}.get(unit))
    sizes = drawn.sort("students")["size"].unique(maintain_order=True).to_list()
    order = drawn["row"].unique(maintain_order=True).to_list()
    y = alt.Y("row:N", sort=order, title=None, axis=look.name_axis())
    beside = alt.YOffset("size:N", sort=sizes, scale=alt.Scale(paddingOuter=0.8))
    title = {
        "share": _("How often it held (%)"), "swc": _("Off by, in smallest worthwhile changes"),
        "count": _("How many in a season"),
    }[unit]  # fmt: skip
    minus = alt.Axis(labelExpr=look.MINUS, tickCount=5)
    scale = alt.Scale(domain=[low, high], nice=False, zero=False)
    x = alt.X("figure:Q", title=title, scale=scale, axis=minus)
    goals = drawn.with_columns(
        pl.col("goal_lo").fill_null(low).clip(low, high), pl.col("goal_hi").fill_null(high).clip(low, high)
    ).filter(pl.col("goal").is_not_null())
    tips = look.tips(
        {"truth:N": _("Truth"), "size:N": _("Academy"), "held:N": _("Held"), "goal:N": _("Goal")}
    )
    shape = alt.Shape(
        "size:N", title=None, sort=sizes, scale=alt.Scale(domain=sizes, range=SHAPES[: len(sizes)]),
        legend=alt.Legend(orient="top", columns=2 if narrow else 4),
    )  # fmt: skip
    layers = [
        alt.Chart(goals)
        .mark_bar(color=theme.BAND, height=14)
        .encode(x=alt.X("goal_lo:Q", scale=scale), x2=alt.X2("goal_hi:Q"), y=y, yOffset=beside),
        alt.Chart(drawn)
        .mark_point(size=80, fill=theme.INK, stroke=theme.INK, opacity=1)
        .encode(x=x, y=y, yOffset=beside, shape=shape, tooltip=tips),
    ]
    rows_drawn, lines = drawn["row"].n_unique(), 1 + max(row.count("\n") for row in drawn["row"])
    height = rows_drawn * max(ROW_HEIGHT, LINE_HEIGHT * (lines + 1))
    return look.layered(layers, max(height, 80), finding, narrow=narrow)


def _reach(drawn: pl.DataFrame, whole: tuple[float, float] | None) -> tuple[float, float]:
    ends = drawn["goal_lo"].to_list(), drawn["goal_hi"].to_list()
    reaches = [look.reach(drawn["figure"].to_list(), goal) for goal in zip(*ends, strict=True)]
    low, high = min(low for low, __ in reaches), max(high for __, high in reaches)
    return (low, high) if whole is None else (max(low, whole[0]), min(high, whole[1]))


def finding(rows: pl.DataFrame) -> str:
    """The title: the claim, and in how many of its figures the goal was met."""
    judged = rows.drop_nulls("met")
    claim = str(rows["claim"][0])
    if judged.is_empty():
        return _("{claim}: reported without a goal").format(claim=claim)
    met = int(judged["met"].sum())
    return _("{claim}: goal met in {n} of {total}").format(claim=claim, n=met, total=len(judged))


def words(rows: pl.DataFrame) -> str:
    """The picture in words, one part a truth and size."""
    unit = str(rows["unit"][0])
    parts = [
        f"{row['truth']}, {count(row['students'], 'student')}: {said(row['figure'], unit)}{_met(row['met'])}"
        for row in rows.sort("truth", "students").iter_rows(named=True)
    ]
    return f"{rows['claim'][0]}. {'; '.join(parts)}."


def table(rows: pl.DataFrame) -> pl.DataFrame:
    """Every figure as a row: Claim, When, Students, Held, Goal, Met, Academies simulated."""
    return pl.DataFrame([_row(row) for row in rows.iter_rows(named=True)])


def _row(row: dict[str, Any]) -> dict[str, Any]:
    return {
        _("Claim"): row["claim"],
        _("When the truth is"): row["truth"],
        _("Students"): row["students"],
        _("Figure"): f"{said(row['figure'], row['unit'])}{_error(row)}",
        _("Goal"): row["goal"],
        _("Met"): {True: _("yes"), False: _("no"), None: "–"}[row["met"]],
        _("Academies simulated"): row["n_academies"],
    }


def _error(row: dict[str, Any]) -> str:
    """± one standard error of the simulation, where it was kept."""
    if row.get("error") is None:
        return ""
    size = 100 * row["error"] if row["unit"] == "share" else row["error"]
    return f" ± {number(size, '', 1 if row['unit'] == 'share' else 2)}"


def _met(met: bool | None) -> str:  # noqa: FBT001 - a cell of a table
    return {True: _(", goal met"), False: _(", goal missed"), None: ""}[met]
