"""Progress page: one student in plain words, for them and their guardian."""

from functools import partial

from dashboard import elements as st
from dashboard import layout
from dashboard.aim import TITLES
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
    if page.focus is None:
        st.write(page.opening)
        layout.say(page.nothing_yet)
    else:
        _focus(page.name, page.focus)
    for note in page.notes[:1]:
        layout.lead(_("From your coach."), note)
    layout.lead(_("Something hurts?"), page.if_it_hurts)
    sending.practice(reader, person, page.focus)
    if page.pictures:
        st.header(_("How it has gone"), anchor=False)
    if page.focus:
        st.write(page.opening)
        for sentence in page.focus.sentences:
            st.write(sentence)
    for sentence in page.goal:
        st.write(sentence)
    for picture in page.pictures:
        layout.picture(picture)
        if picture.key:
            layout.aside(picture.key)
    if page.notes[1:]:
        st.header(_("Earlier from your coach"), anchor=False)
        for note in page.notes[1:]:
            st.write(note)
    sending.film(reader, person)
    for sentence in (page.feet, *page.cautions):
        layout.aside(sentence)


def _focus(name: str, focus: Focus) -> None:
    st.header(focus.verdict, anchor=False)
    layout.lead(f"{focus.heading}:", focus.title)
    with st.container(border=True):
        if focus.drill:
            st.subheader(focus.drill, anchor=False)
        for sentence in focus.how:
            st.write(sentence)
        if focus.feel:
            layout.lead(f"{TITLES['feel']}:", focus.feel)
        for sentence in focus.pace.sentences if focus.pace else ():
            st.write(sentence)
        for sentence in focus.cautions:
            layout.lead(_("Take care."), sentence)
        if focus.pace:
            pace, drill, cautions = focus.pace, focus.drill or "", focus.cautions
            make = partial(ticks_html, name, drill, pace, cautions)
            layout.save(
                _("Save a list to print and tick off"), make, "practice-to-tick-off.html", "text/html"
            )
