"""Coach funnel: the gain of each coach's students against how precisely it is known, within its limits."""

from typing import Any

import altair as alt
import numpy as np
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.numbers import count, listed, number

HEIGHT = 340
INSIDE, OUTSIDE_80, OUTSIDE_95 = "inside the limits", "outside the 80 % limits", "outside the 95 % limits"
OTHER = "another coach"
STEPS = 40


def place(row: dict[str, Any]) -> str:
    """Where a coach's own gain stands against the limits at its precision."""
    if row["lo95"] <= row["raw"] <= row["hi95"]:
        inside = row["lo80"] <= row["raw"] <= row["hi80"]
        return INSIDE if inside else OUTSIDE_80
    return OUTSIDE_95


def picture(gains: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw the funnel.

    `gains`, shown coaches only: name (on screen), own (the viewer's), raw, raw_se, overall, lo80, hi80, lo95,
    hi95, n_students; gains per 90 days in smallest detectable changes. `precision` is 1 / raw_se.
    """
    drawn = gains.with_columns(
        (1 / pl.col("raw_se")).alias("precision"),
        pl.struct(pl.all()).map_elements(place, return_dtype=pl.String).alias("place"),
        pl.col("raw").map_elements(_said, return_dtype=pl.String).alias("told"),
    )
    limits = _limits(gains)
    overall = gains["overall"][0]
    span = [limits["precision"].min(), limits["precision"].max()]
    x = alt.X(
        "precision:Q", title="How precisely it is known (1 / standard error)",
        scale=alt.Scale(domain=span, nice=False), axis=alt.Axis(tickCount=4 if narrow else 8, grid=False),
    )  # fmt: skip
    title = "Gain in 90 days" if narrow else "Gain in 90 days, in smallest detectable changes"
    minus = alt.Axis(labelExpr="replace(datum.label, '-', '−')")
    y = alt.Y("raw:Q", title=title, axis=minus, scale=alt.Scale(zero=False))
    lines = alt.Chart(limits)
    middle = alt.Chart(pl.DataFrame({"at": [overall]})).mark_rule(color=theme.QUIET)
    fill = alt.condition("datum.own", alt.value(theme.INK), alt.value(theme.GROUND))
    tips = [
        alt.Tooltip("name:N", title="Coach"),
        alt.Tooltip("told:N", title="Gain"),
        alt.Tooltip("n_students:Q", title="Students"),
        alt.Tooltip("place:N", title="Place"),
    ]
    dots = alt.Chart(drawn).mark_point(size=110, stroke=theme.INK, strokeWidth=1.6, opacity=1)
    # Neighbours' names stand right and left by turns, so that they do not run into one another.
    named = drawn.filter(pl.col("name") != OTHER).sort("precision", descending=True).with_row_index("turn")
    names = [
        alt.Chart(named.filter(pl.col("turn") % 2 == turn))
        .mark_text(align=align, dx=dx)
        .encode(x=x, y=y, text=alt.Text("name:N"))
        for turn, align, dx in ((0, "right", -11), (1, "left", 11))
    ]
    layers = [
        lines.mark_area(color=theme.BAND, clip=True).encode(x=x, y=alt.Y("lo80:Q"), y2=alt.Y2("hi80:Q")),
        *(
            lines.mark_line(color=theme.QUIET, strokeDash=[5, 4], strokeWidth=1.4, clip=True).encode(
                x=x, y=f"{end}95:Q"
            )
            for end in ("lo", "hi")
        ),
        middle.encode(y=alt.Y("at:Q")),
        dots.encode(x=x, y=y, fill=fill, tooltip=tips),
        *names,
    ]
    return alt.layer(*layers).properties(
        autosize=look.FIT, height=HEIGHT, title=look.title(finding, narrow=narrow)
    )


def _limits(gains: pl.DataFrame) -> pl.DataFrame:
    """The limits from the least to the most precise coach and a little beyond.

    Each limit's distance from the overall gain is a multiple of the standard error; between two coaches
    the multiple runs straight from one to the other.
    """
    known = gains.with_columns(precision=1 / pl.col("raw_se")).sort("precision")
    at = known["precision"].to_numpy()
    steps = np.linspace(0.8 * at[0], 1.15 * at[-1], STEPS)
    overall = float(known["overall"][0])
    ends = {
        name: overall + np.interp(steps, at, (known[name].to_numpy() - overall) * at) / steps
        for name in ("lo80", "hi80", "lo95", "hi95")
    }
    return pl.DataFrame({"precision": steps, **ends})


def finding(gains: pl.DataFrame) -> str:
    """The title: how many lie inside the limits. It names nobody."""
    out = sum(place(row) == OUTSIDE_95 for row in gains.iter_rows(named=True))
    if out == 0:
        return f"No difference between coaches shows: all {len(gains)} lie within what chance would make"
    return (
        f"{out} of {count(len(gains), 'coach', 'coaches')} {'lies' if out == 1 else 'lie'} outside the "
        "95 % limits: worth asking why, before anything is said"
    )


def words(gains: pl.DataFrame) -> str:
    """The picture in words, by name where the viewer may know it."""
    overall = _said(gains["overall"][0])
    text = f"Overall gain in 90 days: {overall} smallest detectable changes."
    named = gains.filter(pl.col("name") != OTHER)
    for row in named.iter_rows(named=True):
        text += f" {row['name']}: {_said(row['raw'])}, {count(row['n_students'], 'student')}, {place(row)}."
    others = [place(row) for row in gains.filter(pl.col("name") == OTHER).iter_rows(named=True)]
    if others:
        counted = [f"{others.count(p)} {p}" for p in (INSIDE, OUTSIDE_80, OUTSIDE_95) if p in others]
        text += f" Other coaches, unnamed: {listed(counted)}."
    return text


def table(gains: pl.DataFrame) -> pl.DataFrame:
    """The picture as rows: Coach, as measured, drawn toward the others, 90 % between, Students, Place.

    Gains in 90 days, in smallest detectable changes; coaches in the order given.
    """
    rows = [
        {
            "Coach": row["name"].capitalize() if row["name"] == OTHER else row["name"],
            "Gain in 90 days": _said(row["raw"]),
            "Drawn toward the others": _said(row["gain"]),
            "90 % between": f"{_said(row['gain_lo'])} and {_said(row['gain_hi'])}",
            "Students": row["n_students"],
            "Place": place(row).capitalize(),
        }
        for row in gains.iter_rows(named=True)
    ]
    return pl.DataFrame(rows)


def _said(value: float | None) -> str:
    return number(value, "", 2, signed=True)
