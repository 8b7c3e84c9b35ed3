"""The Data quality page on screen."""

import polars as pl

from dashboard import elements as st
from dashboard import layout, navigation
from dashboard.pages.quality import content, devices
from dashboard.text.catalogue import _
from dashboard.text.numbers import lowered
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Data quality"), anchor=False)
    rows = content.health(reader)
    places = st.columns(4)
    with places[0]:
        by = layout.choose(_("Group by"), content.GROUPINGS, "by")
    shown = rows
    for place, (column, (title, options)) in zip(places[1:], content.filters(rows).items(), strict=True):
        with place:
            chosen = layout.choose(title, options, f"left-{column}")
        shown = shown if chosen == content.ALL else shown.filter(pl.col(column) == chosen)
    layout.section(content.left_out_weekly(reader, shown, by, narrow=layout.narrow()))
    with layout.part(_("Devices checked with a known weight")):
        for section in devices.accuracy(reader):
            layout.section(section)
    headings = {"device": _("By device"), "coach": _("By coach")}
    for column, heading in headings.items():
        st.header(heading, anchor=False)
        layout.table(content.totals(shown, column), _("left out {by}").format(by=lowered(heading)))
    with layout.part(_("Who looked")):
        st.write(
            _("Whoever opened a young player's page, and everything that was refused, the newest first.")
        )
        layout.table(content.looked(reader), _("who looked"))
    layout.aside(content.version())
    layout.save(_("Save the changelog"), content.changelog, "CHANGELOG.md", "text/markdown")
    with st.container(horizontal=True):
        navigation.link("deliveries", _("Correct what was refused on Deliveries →"))
        navigation.link("trust", _("How sure are we →"))
