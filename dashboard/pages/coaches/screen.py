"""The Coaches page on screen: each group in a row, and the gains beneath with what they can't tell."""

from dashboard import elements as st
from dashboard import layout
from dashboard.pages.coaches import content, groups
from dashboard.text.catalogue import _
from dashboard.text.markdown import markdown
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Coaches"), anchor=False)
    season = layout.choose(_("Season"), content.seasons(reader), "season")
    with layout.part():
        rows = groups.rows(reader, season)
        st.write(markdown("**{said}**", said=groups.headline(rows)))
        layout.table(groups.table(rows), _("groups of the coaches"))
        layout.aside(_(groups.HOW_TO_READ))
    with st.expander(_("Do the groups gain differently? What can and can't be told")), layout.part():
        st.write(_(content.CANNOT_SHOW))
        layout.section(content.coaches(reader, season, narrow=layout.narrow()))
