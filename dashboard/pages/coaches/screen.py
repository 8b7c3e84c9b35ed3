"""The Coaches page on screen."""

import streamlit as st

from dashboard import layout
from dashboard.pages.coaches.content import CANNOT_SHOW, coaches, seasons
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Coaches"), anchor=False)
    st.write(f"**{_(CANNOT_SHOW)}**")
    season = layout.choose(_("Season"), {name: name for name in seasons(reader)}, "season")
    page = coaches(reader, season, narrow=layout.narrow())
    if page.picture:
        layout.picture(page.picture.chart, page.picture.words, page.picture.rows)
        layout.aside(page.picture.key)
    for sentence in filter(None, (page.not_drawn, page.own)):
        layout.say(sentence)
    if page.others:
        layout.aside(page.others)
