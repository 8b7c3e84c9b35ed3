"""The Students page on screen."""

import polars as pl
import streamlit as st

from dashboard import frame, layout
from dashboard.pages.students.content import (
    Subject,
    choices,
    chosen,
    comparison,
    families,
    filters,
    students,
    subject,
)
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Students"), anchor=False)
    everyone = students(reader)
    about = _subject(reader)
    shown = _filtered(reader, everyone)
    found = comparison(reader, about, shown, narrow=layout.narrow())
    picture = found.picture
    layout.picture(picture.chart, picture.words, picture.rows, stretch=False, pieces=found.pieces)
    for sentence in filter(None, (picture.key, found.unmeasured, found.left_out)):
        layout.aside(sentence)
    _open_one(shown)


def _subject(reader: Reader) -> Subject:
    possible = choices(reader)
    left, middle, right = st.columns([2, 1, 1])
    with left:
        code = layout.choose(_("Compare on"), possible.subjects, "on")
    with middle:
        when = layout.choose(_("Season"), {name: name for name in possible.seasons}, "season")
    with right:
        family = layout.choose(_("Clubs"), families(reader, when), "clubs")
    return subject(reader, code, when, family)


def _filtered(reader: Reader, everyone: pl.DataFrame) -> pl.DataFrame:
    each, choice = filters(reader, everyone), {}
    for place, (column, (title, options)) in zip(st.columns(len(each)), each.items(), strict=True):
        with place:
            choice[column] = layout.choose(title, options, column)
    return chosen(everyone, choice)


def _open_one(shown: pl.DataFrame) -> None:
    names = dict(shown.select("student", "name").iter_rows())
    left, right = st.columns([2, 2], vertical_alignment="bottom")
    with left:
        code = st.selectbox(_("One student"), list(names), format_func=names.__getitem__, key="open-one")
    if code is not None:
        with right:
            frame.link("student", _("Open {name}'s page →").format(name=names[code]), student=code)
