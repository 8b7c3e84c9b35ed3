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
    compared_on, found = st.columns([3, 2])
    with found:
        _find_one(everyone)
    with st.container(horizontal=True):
        season = layout.choose(_("Season"), seasons, "season")
        family = layout.clubs(people.families(reader, season) or ["iron"])
        choice = {
            column: layout.choose(title, options, column)
            for column, (title, options) in content.filters(reader, everyone).items()
        }
    with compared_on:
        most = content.most_outside(reader, season, family)
        code = layout.choose(_("Compare on"), content.subjects(reader), "on", default=most)
    shown = content.chosen(everyone, choice)
    about = content.subject(reader, code, season, family)
    page = navigation.address("student", student="")
    layout.section(content.comparison(reader, about, shown, page=page, narrow=layout.narrow()))


def _find_one(everyone: pl.DataFrame) -> None:
    names = dict(everyone.select("student", "name").iter_rows())
    code = st.selectbox(
        _("Find a student"), list(names), index=None, format_func=names.__getitem__, key="find-one",
        placeholder=_("Type a part of the name"),
    )  # fmt: skip
    if code is not None:
        navigation.link("student", _("Open {name}'s page →").format(name=names[code]), student=code)
