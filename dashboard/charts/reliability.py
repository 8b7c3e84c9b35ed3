"""Reliability: how well one session's value of each measure tells students apart."""

from typing import Any

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look
from dashboard.text.catalogue import _, mark
from dashboard.text.numbers import number

ROW_HEIGHT = 24
# Koo and Li 2016, J Chiropr Med 15:155 (from memory).
GRADES = (
    (0.9, mark("very well")), (0.75, mark("well")), (0.5, mark("moderately")),
    (float("-inf"), mark("poorly")),
)  # fmt: skip
GOOD = 0.75
MOST_SWINGS = 30


def grade(icc: float | None) -> str:
    """An intraclass correlation in a word; a dash where none was fitted."""
    return "–" if icc is None else _(next(word for floor, word in GRADES if icc >= floor))


def picture(rows: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw one dot a measure. `rows`: label, icc_session (0–1), n_students, n_sessions, in screen order."""
    known = rows.drop_nulls("icc_session")
    drawn = known.with_columns(
        look.broken(known["label"], 24 if narrow else 64),
        look.in_words(known["icc_session"], grade, "grade"),
    )
    y = alt.Y("row:N", sort=drawn["row"].to_list(), title=None, axis=look.name_axis())
    x = alt.X(
        "icc_session:Q",
        title=_("Tells students apart (0 to 1)")
        if narrow
        else _("How well one session tells students apart (intraclass correlation, 0 to 1)"),
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(values=[0, 0.5, 0.75, 0.9, 1], format=".2~f"),
    )
    tips = look.tips({
        "label:N": _("Measure"), "grade:N": _("Tells students apart"),
        "icc_session:Q": (_("From 0 to 1 (intraclass correlation)"), ".2f"),
        "n_students:Q": _("Students"), "n_sessions:Q": _("Sessions"),
    })  # fmt: skip
    good = alt.Chart(pl.DataFrame({"lo": [GOOD], "hi": [1.0]})).mark_rect(color=theme.BAND)
    base = alt.Chart(drawn)
    layers = [
        good.encode(x=alt.X("lo:Q"), x2=alt.X2("hi:Q")),
        base.mark_rule(color=theme.QUIET, strokeWidth=1).encode(x=x, x2=alt.datum(0), y=y),
        base.mark_point(shape="circle", size=80, fill=theme.INK, stroke=theme.INK, opacity=1).encode(
            x=x, y=y, tooltip=tips
        ),
    ]
    height = max((1.9 if narrow else 1) * ROW_HEIGHT * len(drawn), 60)
    return look.layered(layers, height, finding, narrow=narrow)


def finding(rows: pl.DataFrame, clubs: str) -> str:
    """The title: how many measures tell students apart well."""
    known = rows.drop_nulls("icc_session")
    good = len(known.filter(pl.col("icc_session") >= GOOD))
    return _("{clubs}: one session tells students apart well on {n} of {total} measures").format(
        clubs=clubs, n=good, total=len(known)
    )


def words(rows: pl.DataFrame) -> str:
    """The picture in words, one part a measure."""
    said = [
        f"{row['label']}: {_graded(row['icc_session'])}"
        for row in rows.drop_nulls("icc_session").iter_rows(named=True)
    ]
    if not said:
        return _("Not known yet.")
    return f"{_('How well one session tells students apart.')} {'; '.join(said)}."


def table(rows: pl.DataFrame) -> pl.DataFrame:
    """Every measure as a row: how well it tells students apart, its error, what is real, swings wanted."""
    return pl.DataFrame([_row(row) for row in rows.iter_rows(named=True)])


def _graded(icc: float | None) -> str:
    """The word with its number: moderately (0.54)."""
    return grade(icc) if icc is None else f"{grade(icc)} ({number(icc, '', 2)})"


def _wanted(swings: int | None) -> str:
    """The search for how many swings still help ends at 30."""
    return (
        "–"
        if swings is None
        else _("{n} or more").format(n=MOST_SWINGS)
        if swings >= MOST_SWINGS
        else str(swings)
    )


def _row(row: dict[str, Any]) -> dict[str, Any]:
    unit = "points" if row["unit"] == "%" else row["unit"]
    places = row["decimals"] + (1 if row["decimals"] < 2 else 0)
    return {
        _("Measure"): row["label"],
        _("Tells students apart"): _graded(row["icc_session"]),
        _("Typical error of a session"): number(row["sem"], unit, places),
        _("Smallest real change"): number(row["sdc95"], unit, places),
        _("Swings worth making"): _wanted(row["swings_wanted"]),
        _("Students"): row["n_students"],
        _("Sessions"): row["n_sessions"],
    }
