"""The Coaches page on screen."""

from dashboard import elements as st
from dashboard import layout
from dashboard.pages.coaches import content
from dashboard.text.catalogue import _
from dashboard.text.markdown import markdown
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Coaches"), anchor=False)
    st.write(markdown("**{said}**", said=_(content.CANNOT_SHOW)))
    season = layout.choose(_("Season"), content.seasons(reader), "season")
    layout.section(content.coaches(reader, season, narrow=layout.narrow()))
