"""Progress page: one student in plain words, for them and their guardian."""

import streamlit as st

from dashboard import layout
from dashboard.pages.progress.content import progress
from dashboard.text.sentences import FEET
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Progress page")
    page = progress(reader, person, narrow=layout.narrow())
    st.title(page.name, anchor=False)
    if reader.viewer.person != person["student"]:
        layout.aside(f"Written to {page.name}, in the words they read. Shows only what is shared with them.")
    for sentence in page.discomfort:
        st.warning(sentence)
    st.write(page.opening)
    if page.focus is None:
        layout.say("Nothing to work on is set yet. After the next lesson your coach's plan stands here.")
    else:
        st.header("One thing to work on")
        st.subheader(page.focus.title)
        for sentence in page.focus.sentences:
            st.write(sentence)
        layout.aside(FEET)
        if page.focus.drill:
            st.header("How to practise it")
            st.subheader(page.focus.drill)
        for sentence in page.focus.how:
            st.write(sentence)
        for sentence in page.focus.cautions:
            st.write(f"**Take care.** {sentence}")
    for picture in page.pictures:
        layout.picture(picture.chart, picture.words, picture.rows)
        if picture.key:
            layout.aside(picture.key)
    if page.notes:
        st.header("From your coach")
        for note in page.notes:
            st.write(note)
    for sentence in page.cautions:
        layout.aside(sentence)
