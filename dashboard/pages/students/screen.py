"""The Students page on screen."""

import polars as pl

from dashboard import elements as st
from dashboard import layout, navigation
from dashboard.pages.students import content
from dashboard.queries import people
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Students"), anchor=False)
    everyone, seasons = content.students(reader), content.seasons(reader)
    left, middle, right = st.columns([2, 1, 1])
    with middle:
        season = layout.choose(_("Season"), seasons, "season")
    with right:
        family = layout.clubs(people.families(reader, season) or ["iron"])
    with left:
        most = content.most_outside(reader, season, family)
        code = layout.choose(_("Compare on"), content.subjects(reader), "on", default=most)
    filters, choice = content.filters(reader, everyone), {}
    for place, (column, (title, options)) in zip(st.columns(len(filters)), filters.items(), strict=True):
        with place:
            choice[column] = layout.choose(title, options, column)
    shown = content.chosen(everyone, choice)
    about = content.subject(reader, code, season, family)
    layout.section(content.comparison(reader, about, shown, narrow=layout.narrow()))
    _open_one(shown)


def _open_one(shown: pl.DataFrame) -> None:
    names = dict(shown.select("student", "name").iter_rows())
    left, right = st.columns([2, 2], vertical_alignment="bottom")
    with left:
        code = st.selectbox(_("One student"), list(names), format_func=names.__getitem__, key="open-one")
    if code is not None:
        with right:
            navigation.link("student", _("Open {name}'s page →").format(name=names[code]), student=code)
