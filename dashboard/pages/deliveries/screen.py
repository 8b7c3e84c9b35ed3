"""Deliveries: what loaded, what was refused and how to mend it, which swings stay out; drop one here."""

import polars as pl
import streamlit as st

from dashboard import layout
from dashboard.pages.deliveries import delivering
from dashboard.queries import intake
from dashboard.text.cautions import CLEAR_SPACE, MINORS
from dashboard.text.labels import FLAGS
from dashboard.text.numbers import NBSP, count, number, on
from warehouse.access import Reader

KINDS = {"session": "Session", "roster": "Roster", "notes": "Notes", "shots": "Ball results"}
OUTCOMES = {"accepted": "loaded", "replaced": "replaced an earlier one"}
SENTENCES_SHOWN = 5
GROUPS_SHOWN = 40


def show(reader: Reader) -> None:
    """The page."""
    st.title("Deliveries", anchor=False)
    delivering.drop(reader)
    delivering.progress(reader)
    _swapped(reader)
    _refused(reader)
    _loaded(reader)
    _left_out(reader)
    layout.aside(f"{MINORS} {CLEAR_SPACE}")


def _swapped(reader: Reader) -> None:
    found = intake.swapped_feet(reader)
    if found.is_empty():
        return
    st.header("Were the feet swapped?")
    for row in found.iter_rows(named=True):
        which = f"session {row['session']}, {count(row['swings'], 'swing')}"
        st.warning(
            f"**{row['student']}, {on(row['day'])}** ({which}): "
            "the trail foot seems to carry the finish; lead share there "
            f"{number(row['finish_lead_share_pct'], '%')}. "
            "These swings stay out of every season answer. If the feet were swapped, mend the columns or the "
            "student's hand and deliver the session again. If it is right, add feet_checked = true to its "
            "session.toml and deliver it again."
        )


def _refused(reader: Reader) -> None:
    st.header("Refused, and how to mend it")
    rows = intake.refusals(reader)
    if rows.is_empty():
        layout.say("Nothing is refused.")
        return
    st.write(
        "Refused files are kept; films of players under age only until their session is in. Mend what the "
        "sentence says: drop the corrected file at its entry here, or the whole folder above. Good swings of "
        "the same session are already in."
    )
    groups = rows.partition_by(["name", "session"], maintain_order=True)
    for group in groups[:GROUPS_SHOWN]:
        _refusal(group, reader)
    if len(groups) > GROUPS_SHOWN:
        layout.aside(f"{len(groups) - GROUPS_SHOWN} older ones are listed by: underfoot refused")


def _refusal(group: pl.DataFrame, reader: Reader) -> None:
    first = group.row(0, named=True)
    zone = reader.settings.time_zone
    day = group["at"].dt.replace_time_zone("UTC").dt.convert_time_zone(zone)[0].date()
    whose = f", {first['student']}" if first["student"] else ""
    what = first["name"] or first["session"] or first["file"] or "A delivery"
    whole = "whole delivery" if first["swing_no"] is None else count(len(group), "swing")
    with st.container(border=True):
        st.markdown(f"**{what}**{whose} · {whole} · {on(day)}")
        for sentence in group["sentence"].unique(maintain_order=True)[:SENTENCES_SHOWN]:
            st.text(sentence)
        if group["sentence"].n_unique() > SENTENCES_SHOWN:
            layout.aside(f"and {group['sentence'].n_unique() - SENTENCES_SHOWN} more of this delivery")
        delivering.mend(first, what, reader.viewer)


def _loaded(reader: Reader) -> None:
    st.header("Loaded")
    rows = intake.deliveries(reader)
    if rows.is_empty():
        layout.say(
            "Nothing has loaded yet. Drop a delivery above, or put it in the inbox and run: underfoot load"
        )
        return
    received = (
        pl.col("received_at").dt.replace_time_zone("UTC").dt.convert_time_zone(reader.settings.time_zone)
    )
    layout.table(
        rows.select(
            received.dt.strftime("%Y-%m-%d %H:%M").alias("Received"), pl.col("name").alias("Delivery"),
            pl.col("kind").replace(KINDS).alias("What"), pl.col("student").alias("Student"),
            pl.col("day").alias("Session day"), pl.col("n_files").alias("Files"),
            pl.col("outcome").replace(OUTCOMES).alias("Outcome"),
        ),
    )  # fmt: skip


def _left_out(reader: Reader) -> None:
    st.header("Swings left out or marked")
    total, unusable = intake.swing_counts(reader)
    rows = intake.swings_left_out(reader)
    if rows.is_empty():
        layout.say(
            f"None of {count(total, 'swing')} is left out or marked." if total else "No swing is in yet."
        )
        return
    st.write(
        f"Of {count(total, 'swing')}, {count(unusable, 'swing')} gave no measure at all. Others loaded with "
        f"a mark that makes them less sure; swings whose feet may be swapped stay out of the season{NBSP}too."
    )
    layout.table(
        rows.select(
            pl.col("day").alias("Day"), pl.col("student").alias("Student"),
            pl.col("session").alias("Session"),
            pl.col("flag").replace(FLAGS).alias("Why"),
            pl.col("swings").alias("Swings"), pl.col("unusable").alias("Left out"),
        ),
    )  # fmt: skip
