"""Data quality: what was left out, by reason, device and coach, over time."""

import polars as pl
import streamlit as st

from dashboard import frame, layout
from dashboard.charts import left_out
from dashboard.queries import trust
from dashboard.text.numbers import count, number
from dashboard.text.reasons import USABLE, reason
from warehouse.access import Reader

ALL = "all"
BY = {"reason": "Reason", "device": "Device", "coach": "Coach"}
NOT_NAMED = "Not named"


def show(reader: Reader) -> None:
    """The page."""
    st.title("Data quality", anchor=False)
    rows = trust.data_health(reader)
    if rows.is_empty():
        layout.empty("Nothing has come in yet.", "Drop a delivery on the Deliveries page.")
    rows = rows.with_columns(
        pl.col("device", "coach").fill_null(NOT_NAMED),
        pl.col("reason").map_elements(_words, return_dtype=pl.String).alias("said"),
        pl.col("day").dt.truncate("1w").alias("week"),
    )
    by = _filters(rows)
    rows = by[1]
    taken = int(rows.filter(pl.col("reason") == USABLE)["n"].sum())
    out = rows.filter(pl.col("reason") != USABLE)
    if out.is_empty():
        layout.say(f"Nothing was left out here: all of {count(taken, 'swing')} count.")
        return
    _picture(out, taken, by[0])
    _tables(rows, out)
    with st.container(horizontal=True):
        frame.link("deliveries", "Mend what was refused on Deliveries →")
        frame.link("trust", "How sure are we →")


def _words(code: str) -> str:
    said = reason(code)
    return said[:1].upper() + said[1:]


def _filters(rows: pl.DataFrame) -> tuple[str, pl.DataFrame]:
    """Which grouping, and the rows that season, device and coach leave."""
    places = st.columns(4)
    with places[0]:
        by = layout.choose("Picture by", BY, "by")
    seasons = {name: name for name in rows["season"].drop_nulls().unique().sort(descending=True)}
    choices = {
        "season": ("Season", {ALL: "All seasons", **seasons}),
        "device": ("Device", {ALL: "All devices", **_each(rows, "device")}),
        "coach": ("Coach", {ALL: "All coaches", **_each(rows, "coach")}),
    }
    for place, (column, (label, options)) in zip(places[1:], choices.items(), strict=True):
        with place:
            chosen = layout.choose(label, options, f"left-{column}")
        rows = rows if chosen == ALL else rows.filter(pl.col(column) == chosen)
    return by, rows


def _each(rows: pl.DataFrame, column: str) -> dict[str, str]:
    return {name: name for name in rows[column].unique().sort()}


def _picture(out: pl.DataFrame, taken: int, by: str) -> None:
    group = "said" if by == "reason" else by
    weekly = out.group_by("week", pl.col(group).alias("group")).agg(pl.col("n").sum())
    picture = left_out.picture(
        weekly, BY[by], left_out.finding(weekly, taken, BY[by]), narrow=layout.narrow()
    )
    table = out.select(
        pl.col("day").alias("Day"), pl.col("said").alias("Reason"), pl.col("device").alias("Device"),
        pl.col("coach").alias("Coach"), pl.col("n").alias("Left out"),
    )  # fmt: skip
    layout.picture(picture, left_out.words(weekly, BY[by]), table)
    layout.aside(
        "A circle is a week, its area the number left out. A swing counts once, under the first thing that "
        "kept it out; a refused delivery counts once, under the day it came in where its own day could not "
        "be read. Nothing is thrown away: mended, it counts."
    )


def _tables(rows: pl.DataFrame, out: pl.DataFrame) -> None:
    """By device and by coach: taken in, left out, and the share left out."""
    for column in ("device", "coach"):
        st.header(f"By {column}", anchor=False)
        totals = (
            rows.group_by(column)
            .agg(
                pl.col("n").filter(pl.col("reason") == USABLE).sum().alias("Usable swings"),
                pl.col("n").filter(pl.col("reason") != USABLE).sum().alias("Left out"),
            )
            .sort(column)
        )
        share = 100 * totals["Left out"] / (totals["Left out"] + totals["Usable swings"])
        worst = (
            out.group_by(column, "said")
            .agg(pl.col("n").sum())
            .sort("n", "said", descending=[True, False])
            .unique(column, keep="first", maintain_order=True)
        )
        table = totals.with_columns(
            share.map_elements(lambda v: number(v, "%", 1), return_dtype=pl.String).alias("Share left out")
        ).join(worst.select(column, pl.col("said").alias("Most often")), on=column, how="left")
        layout.table(table.sort(column).rename({column: BY[column]}), f"left out by {column}")
