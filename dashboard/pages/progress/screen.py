"""Progress page: one student in plain words, for them and their guardian."""

from functools import partial

from dashboard import elements as st
from dashboard import layout
from dashboard.kept import kept
from dashboard.pages.progress import sending
from dashboard.pages.progress.content import Focus, progress_page
from dashboard.pages.progress.next_pace import ticks_html
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Progress page")
    page = kept(progress_page)(reader, person, narrow=layout.narrow())
    st.title(page.name, anchor=False)
    if reader.viewer.person != person["student"]:
        layout.aside(
            _("This is what {name} reads. It shows only what is shared with them.").format(name=page.name)
        )
    for sentence in page.discomfort:
        st.warning(sentence)
    st.write(page.opening)
    for sentence in page.goal:
        st.write(sentence)
    if page.focus is None:
        layout.say(page.nothing_yet)
    else:
        _focus(page.name, page.focus, page.feet)
    sending.practice(reader, person, page.focus)
    for picture in page.pictures:
        layout.picture(picture)
        if picture.key:
            layout.aside(picture.key)
    if page.notes:
        st.header(_("From your coach"))
        for note in page.notes:
            st.write(note)
    sending.film(reader, person)
    for sentence in page.cautions:
        layout.aside(sentence)


def _focus(name: str, focus: Focus, feet: str) -> None:
    st.header(_("One thing to work on"))
    st.subheader(focus.title)
    for sentence in focus.sentences:
        st.write(sentence)
    layout.aside(feet)
    if focus.drill:
        st.header(_("How to practise it"))
        st.subheader(focus.drill)
    for sentence in focus.how:
        st.write(sentence)
    if focus.pace:
        st.subheader(_("Slow first, then faster"))
        for sentence in focus.pace.sentences:
            st.write(sentence)
        pace, drill, cautions = focus.pace, focus.drill or "", focus.cautions
        make = partial(ticks_html, name, drill, pace, cautions)
        layout.save(_("Save a list to print and tick off"), make, "practice-to-tick-off.html", "text/html")
    for sentence in focus.cautions:
        layout.lead(_("Take care."), sentence)
