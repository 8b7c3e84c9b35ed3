"""Lesson sheet: everything a coach needs in the ten minutes before a lesson, on one page."""

from typing import Any

import streamlit as st

from dashboard import frame, layout
from dashboard.pages.lesson.content import Sheet, sheet
from dashboard.pages.lesson.paper import sheet_html
from dashboard.queries import people, sessions
from dashboard.text import sentences
from dashboard.text.labels import FAMILIES
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Lesson sheet")
    measured = [s for s in people.seasons(reader) if people.families(reader, s, person["student"])]
    when = family = None
    if measured:
        when = measured[0]
        families = people.families(reader, when, person["student"])
        family = layout.choose("Clubs", {f: FAMILIES.get(f, f) for f in families}, "clubs")
    page = sheet(reader, person, when, family, narrow=layout.narrow())
    st.title(page.name, anchor=False)
    layout.aside(page.about)
    for sentence in page.hurts:
        st.warning(f"**First.** {sentence}")
    with st.container(horizontal=True, vertical_alignment="center"):
        frame.link("notes", "Write a note →", student=person["student"])
        frame.link("student", "Evidence: the student's page →", student=person["student"])
        layout.save(
            "Save the sheet to print",
            lambda: sheet_html(reader, sheet(reader, person, when, family, narrow=False)),
            f"lesson-{person['student']}.html",
            "text/html",
        )
    _parts(page)
    told = sentences.left_out(*_left_out(reader, person["student"], when))
    if told is not None:
        layout.aside(told)
    for sentence in page.cautions:
        layout.aside(sentence)


def _left_out(reader: Reader, student: str, when: str) -> tuple[dict[str, Any], list[tuple[str, int]]]:
    counts, flags = sessions.left_out(reader, student, when)
    return counts, flags.rows()


def _parts(page: Sheet) -> None:
    for part in page.parts:
        st.header(part.title, anchor=False)
        for sentence in part.sentences:
            st.write(sentence)
        if part.rows is not None and layout.narrow():
            for row in part.rows.iter_rows():  # a phone has no room for a table's columns
                told = zip(part.rows.columns[1:], row[1:], strict=True)
                st.markdown(f"- **{row[0]}**. {'. '.join(f'{name}: {cell}' for name, cell in told if cell)}")
        elif part.rows is not None:
            layout.table(part.rows, f"{page.name} {part.title}")
        if part.title == "Works on" and page.picture is not None:
            layout.picture(page.picture.chart, page.picture.words, page.picture.rows)
            layout.aside(page.picture.key)
