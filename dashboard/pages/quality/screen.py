"""The Data quality page on screen."""

import polars as pl
import streamlit as st

from dashboard import frame, layout
from dashboard.pages.quality.content import ALL, GROUPINGS, filters, health, quality
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Data quality"), anchor=False)
    rows = health(reader)
    places = st.columns(4)
    with places[0]:
        by = layout.choose(_("Picture by"), GROUPINGS, "by")
    shown = rows
    for place, (column, (title, options)) in zip(places[1:], filters(rows).items(), strict=True):
        with place:
            chosen = layout.choose(title, options, f"left-{column}")
        shown = shown if chosen == ALL else shown.filter(pl.col(column) == chosen)
    found = quality(shown, by, narrow=layout.narrow())
    if found.picture is None:
        layout.say(found.nothing)
        return
    layout.picture(found.picture.chart, found.picture.words, found.picture.rows)
    layout.aside(found.picture.key)
    for heading, table in found.tables:
        st.header(heading, anchor=False)
        layout.table(table, _("left out {by}").format(by=heading.lower()))
    with st.container(horizontal=True):
        frame.link("deliveries", _("Correct what was refused on Deliveries →"))
        frame.link("trust", _("How sure are we →"))
