"""Coach funnel: the gain of each coach's students against how precisely it is known, within its limits."""

from typing import Any

import altair as alt
import numpy as np
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import Words, _, mark, ngettext
from dashboard.text.numbers import capitalized, count, listed, number

HEIGHT = 340
INSIDE, OUTSIDE_80, OUTSIDE_95 = "inside", "outside_80", "outside_95"
PLACES = Words({
    INSIDE: "inside the limits", OUTSIDE_80: "outside the 80 % limits",
    OUTSIDE_95: "outside the 95 % limits",
})  # fmt: skip
OTHER = mark("another coach")  # whose name the viewer may not know
STEPS = 40


def place(row: dict[str, Any]) -> str:
    """The code of where a coach's own gain lies against the limits at its precision."""
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
        pl.col("name").replace({OTHER: _(OTHER)}).alias("called"),
        pl.Series("place", [PLACES[place(row)] for row in gains.iter_rows(named=True)]),
        pl.Series("gain_said", [_said(raw) for raw in gains["raw"]]),
    )
    limits = _limits(gains)
    overall = gains["overall"][0]
    span = [limits["precision"].min(), limits["precision"].max()]
    x = alt.X(
        "precision:Q", title=_("How precisely it is known (1 / standard error)"),
        scale=alt.Scale(domain=span, nice=False), axis=alt.Axis(tickCount=4 if narrow else 8, grid=False),
    )  # fmt: skip
    title = _("Gain in 90 days") if narrow else _("Gain in 90 days, in smallest detectable changes")
    minus = alt.Axis(labelExpr=look.MINUS)
    y = alt.Y("raw:Q", title=title, axis=minus, scale=alt.Scale(zero=False))
    lines = alt.Chart(limits)
    middle = alt.Chart(pl.DataFrame({"at": [overall]})).mark_rule(color=theme.QUIET)
    fill = look.filled("datum.own")
    tips = look.tips({
        "called:N": _("Coach"), "gain_said:N": _("Gain"),
        "n_students:Q": _("Students"), "place:N": _("Place"),
    })  # fmt: skip
    dots = alt.Chart(drawn).mark_point(size=110, stroke=theme.INK, strokeWidth=1.6, opacity=1)
    # Neighbours' names alternate right and left, so that they do not run into one another.
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
    return look.layered(layers, HEIGHT, finding, narrow=narrow)


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
    if len(gains) == 1:
        return _("Only one coach has enough students with room to gain, so nothing can be compared")
    if out == 0:
        return _("No difference between coaches shows: all {n} lie within what chance would make").format(
            n=len(gains)
        )
    return ngettext(
        "{n} of {coaches} lies outside the 95 % limits: worth asking why, before anything is said",
        "{n} of {coaches} lie outside the 95 % limits: worth asking why, before anything is said",
        out,
    ).format(n=out, coaches=count(len(gains), "coach"))


def words(gains: pl.DataFrame) -> str:
    """The picture in words, by name where the viewer may know it."""
    overall = _said(gains["overall"][0])
    said = [_("Overall gain in 90 days: {gain} smallest detectable changes.").format(gain=overall)]
    for row in gains.filter(pl.col("name") != OTHER).iter_rows(named=True):
        students = count(row["n_students"], "student")
        said.append(f"{row['name']}: {_said(row['raw'])}, {students}, {PLACES[place(row)]}.")
    others = [place(row) for row in gains.filter(pl.col("name") == OTHER).iter_rows(named=True)]
    if others:
        counted = [f"{others.count(code)} {words}" for code, words in PLACES.items() if code in others]
        said.append(_("Other coaches, unnamed: {places}.").format(places=listed(counted)))
    return " ".join(said)


def table(gains: pl.DataFrame) -> pl.DataFrame:
    """The picture as rows: Coach, as measured, shrunk toward the others, 90 % between, Students, Place.

    Gains in 90 days, in smallest detectable changes; coaches in the order given.
    """
    rows = [
        {
            _("Coach"): capitalized(_(row["name"])),
            _("Gain in 90 days"): _said(row["raw"]),
            _("Drawn toward the others"): _said(row["gain"]),
            _("90 % between"): _("{lo} and {hi}").format(lo=_said(row["gain_lo"]), hi=_said(row["gain_hi"])),
            _("Students"): row["n_students"],
            _("Place"): capitalized(PLACES[place(row)]),
        }
        for row in gains.iter_rows(named=True)
    ]
    return pl.DataFrame(rows)


def _said(value: float | None) -> str:
    return number(value, "", 2, signed=True)
