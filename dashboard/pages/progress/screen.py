"""Progress page: one student in plain words, for them and their guardian."""

from functools import partial

from dashboard import elements as st
from dashboard import layout
from dashboard.aim import TITLES
from dashboard.kept import kept
from dashboard.pages.progress import sending
from dashboard.pages.progress.content import Focus, ProgressPage, progress_html, progress_page
from dashboard.pages.progress.next_pace import ticks_html
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Progress page")
    name = person["name"]
    st.title(name, anchor=False)
    if reader.viewer.person != person["student"]:
        reads = _("This is what {name} reads. It shows only what is shared with them.")
        layout.aside(reads.format(name=name))
    page = kept(progress_page)(reader, person, narrow=layout.narrow())
    for sentence in page.discomfort:
        st.warning(sentence)
    if page.focus is None:
        st.write(page.opening)
        layout.say(page.nothing_yet)
    else:
        _focus(page.focus)
    st.write(page.week)
    with st.container(horizontal=True):
        sending.practice(reader, person, page.focus)
        sending.discomfort(reader, person)
    for note in page.notes[:1]:
        layout.lead(_("From your coach."), note)
    for sentence in (page.feet, page.if_it_hurts):
        layout.aside(sentence)
    if page.focus:
        _pace(page.name, page.focus)
    gone = st.expander(_("How it has gone"), key="more-gone", on_change="rerun")
    if gone.open:
        with gone:
            _gone(page)
    sending.film(reader, person)
    if not reader.is_withheld("family_page", person["student"]):
        with st.container(horizontal=True):
            student, paper = person["student"], reader.settings.paper
            layout.save_to_print(partial(progress_html, reader, student), f"progress-{student}", paper)
    for sentence in page.cautions:
        layout.aside(sentence)


def _gone(page: ProgressPage) -> None:
    """What lies behind the first screen: folded until somebody wants to see it."""
    for sentence in (*([page.opening, *page.focus.sentences] if page.focus else []), *page.goal):
        st.write(sentence)
    for picture in page.pictures:
        layout.picture(picture)
        if picture.key:
            layout.aside(picture.key)
    if page.notes[1:]:
        st.subheader(_("Earlier from your coach"), anchor=False)
        for note in page.notes[1:]:
            st.write(note)


def _focus(focus: Focus) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        with st.container():
            st.header(focus.verdict, anchor=False)
            layout.lead(f"{focus.heading}:", focus.title)
        if focus.shoe:
            st.drawing(focus.shoe.svg, focus.shoe.words, focus.shoe.caption)
    with st.container(border=True):
        if focus.drill:
            st.subheader(focus.drill, anchor=False)
            with st.container(horizontal=True):
                for said, shoe in focus.shoe.apart() if focus.shoe else ():
                    st.drawing(shoe.svg, f"{said}: {shoe.words}", said)
        for sentence in focus.how:
            st.write(sentence)
        if focus.feel:
            layout.lead(f"{TITLES['feel']}:", focus.feel)
        for sentence in focus.cautions:
            layout.lead(_("Take care."), sentence)


def _pace(name: str, focus: Focus) -> None:
    """Slow first, then faster; and the list to tick off."""
    if focus.pace is None:
        return
    with st.expander(_("Slow first, then faster")):
        for sentence in focus.pace.sentences:
            st.write(sentence)
        make = partial(ticks_html, name, focus.drill or "", focus.pace, focus.cautions)
        layout.save(_("Save a list to print and tick off"), make, "practice-to-tick-off.html", "text/html")
