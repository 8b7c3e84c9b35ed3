"""Student: one student's season, faults, a session's swings, what was done and noted."""

import polars as pl
import streamlit as st

from dashboard import layout, navigation, student_season
from dashboard.pages.student import content, films, swings
from dashboard.pages.student.content import Section
from dashboard.pages.student.swings import SwingChoice
from dashboard.queries import people, sessions
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import _
from dashboard.text.labels import FAMILIES
from warehouse.access import Reader
from warehouse.errors import UnderfootError

ALL, NOTHING = "all", "nothing"


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Student")
    st.title(person["name"], anchor=False)
    chosen = StudentSeason(reader, person)
    layout.aside(content.about(chosen))
    layout.discomfort(reader, chosen.student)
    with st.container(horizontal=True):
        navigation.link("lesson", _("Lesson sheet →"), student=chosen.student)
        navigation.link("notes", _("Write a note →"), student=chosen.student)
    measured = student_season.measured_seasons(reader, chosen.student)
    if not measured:
        layout.say(content.nothing_measured(chosen))
        films.of_others(reader, chosen.student, "", [])
        _history(chosen)
        return
    chosen = _choice(chosen, measured)
    _season(chosen)
    st.header(_("Faults, in the order of the swing"))
    _section(content.faults_part(chosen, narrow=layout.narrow()))
    _swings(chosen)
    _ball(chosen)
    left_out = chosen.left_out()
    if left_out is not None:
        layout.aside(left_out)
    _history(chosen)
    layout.aside(content.closing(chosen))


def _choice(chosen: StudentSeason, measured: list[str]) -> StudentSeason:
    left, right = st.columns(2)
    with left:
        season = layout.choose(_("Season"), {name: name for name in measured}, "season")
    with right:
        families = people.families(chosen.reader, season, chosen.student)
        family = layout.choose(_("Clubs"), {f: FAMILIES.get(f, f) for f in families}, "clubs")
    return StudentSeason(chosen.reader, chosen.person, season, family)


def _section(section: Section, place: str = "") -> None:
    if section.missing:
        layout.say(section.missing)
    if section.picture is not None:
        picture = section.picture
        layout.picture(picture, place=place)
    if section.sentence:
        st.write(section.sentence)
    if section.small_print:
        layout.aside(section.small_print)


def _season(chosen: StudentSeason) -> None:
    st.header(_("The season"))
    options = content.measures(chosen)
    if not options:
        layout.say(_("The list of measures is not built yet; run: underfoot build"))
        return
    measure = chosen.measures[layout.choose(_("Measure"), options, "measure")]
    _section(content.season_part(chosen, measure, narrow=layout.narrow()))


def _ball(chosen: StudentSeason) -> None:
    rows = content.ball_rows(chosen)
    if not rows:
        return
    st.header(_("With the ball"))
    known = content.known_outcomes(rows)
    outcome = layout.choose(_("Of the ball"), known, "ball") if len(known) > 1 else next(iter(known), None)
    _section(content.ball_part(chosen, rows, outcome, narrow=layout.narrow()), place="ball")


def _history(chosen: StudentSeason) -> None:
    st.header(_("Sessions, drills and notes"))
    history = content.history(chosen)
    if not history.sessions.is_empty():
        layout.table(history.sessions)
    if history.notes.is_empty():
        layout.say(history.no_notes)
    else:
        layout.table(history.notes)


def _swings(chosen: StudentSeason) -> None:
    """The swings of one session, drawn, with its films; then the films of sessions that can't be drawn."""
    st.header(_("The swings of one session"), anchor=False)
    found = sessions.plate_sessions(chosen.reader, chosen.student, chosen.family)
    if found.is_empty():
        layout.say(_("No session with these clubs was measured on plates, so there is nothing to draw."))
    else:
        _session(chosen, found)
    films.of_others(chosen.reader, chosen.student, chosen.family, found["session"].to_list())


def _session(chosen: StudentSeason, found: pl.DataFrame) -> None:
    """One session's pictures, where they can be drawn, and its films, which need no pictures."""
    this, other = _chosen_swings(chosen, found)
    try:
        curves = swings.swing_curves(chosen.reader, this, other, chosen.family)
    except UnderfootError as error:
        layout.say(str(error))
    else:
        if curves is None:
            layout.say(_("Nothing chosen here has its takeaway, top and impact, so it can't be drawn."))
        else:
            names = swings.names(found, this, other)
            _section(swings.load_part(curves, chosen.bands, names, this, narrow=layout.narrow()))
            _section(swings.heels_part(curves, names, narrow=layout.narrow()))
    films.beside(chosen.reader, this, chosen.family)


def _chosen_swings(chosen: StudentSeason, found: pl.DataFrame) -> tuple[SwingChoice, SwingChoice | None]:
    """What is drawn, and what it is compared with."""
    names, first = swings.session_names(found), found["session"][0]
    one, two = st.columns(2)
    with one:
        session = layout.choose(_("Session"), names, "session")
        this = SwingChoice(session, _swing(chosen, session, _("Swings"), "swing"))
    with two:
        options = {NOTHING: _("Nothing"), **names}
        default = first if first != session else NOTHING
        over = layout.choose(_("Compare with"), options, "over", default=default)
        if over == NOTHING:
            return this, None
        return this, SwingChoice(over, _swing(chosen, over, _("Its swings"), "over-swing"))


def _swing(chosen: StudentSeason, session: str, label: str, name: str) -> int | None:
    """One swing of a session, or all of them."""
    numbers = sessions.swing_numbers(chosen.reader, session, chosen.family)
    options = {ALL: _("All, as their mean"), **{str(n): _("Swing {n}").format(n=n) for n in numbers}}
    swing = layout.choose(label, options, name)
    return None if swing == ALL else int(swing)
