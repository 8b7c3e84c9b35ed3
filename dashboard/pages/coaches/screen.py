"""The Coaches page on screen."""

import streamlit as st

from dashboard import layout
from dashboard.pages.coaches import content
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Coaches"), anchor=False)
    st.write(f"**{_(content.CANNOT_SHOW)}**")
    season = layout.choose(_("Season"), content.seasons(reader), "season")
    layout.section(content.coaches(reader, season, narrow=layout.narrow()))
