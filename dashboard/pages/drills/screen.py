"""The Drills page on screen."""

import streamlit as st

from dashboard import frame, layout
from dashboard.pages.drills.content import (
    MOST_LINKS,
    NO_EFFECTS,
    NO_FAULTS,
    NOT_A_TRIAL,
    Choices,
    Groups,
    Season,
    choices,
    drill,
    forest,
    plan,
    season,
)
from dashboard.text.catalogue import _
from dashboard.text.cautions import CLEAR_SPACE, IF_IT_HURTS
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Drills"), anchor=False)
    chosen = choices(reader)
    layout.aside(_(NOT_A_TRIAL))
    found = None
    if chosen.seasons:
        when = layout.choose(_("Season"), {name: name for name in chosen.seasons}, "season")
        found = season(reader, when, chosen.faults)
        _forest(found)
        _plan(reader, chosen, found)
    else:
        layout.say(_(NO_EFFECTS))
    _one(reader, chosen, found)
    layout.aside(f"{_(IF_IT_HURTS)} {_(CLEAR_SPACE)}")


def _forest(when: Season) -> None:
    st.header(_("All drills, each on its own aim"))
    found = forest(when.effects, narrow=layout.narrow())
    if found.picture is None:
        layout.say(found.missing)
        return
    layout.picture(found.picture.chart, found.picture.words, found.picture.rows)
    layout.aside(found.picture.key)
    if found.missing:
        layout.aside(found.missing)


def _plan(reader: Reader, chosen: Choices, when: Season) -> None:
    st.header(_("Which drill for a fault?"))
    if not chosen.faults:
        layout.say(_(NO_FAULTS))
        return
    fault = layout.choose(_("Fault"), chosen.faults, "fault", default=when.first_fault)
    found = plan(reader, when, fault, chosen.faults[fault])
    st.write(found.looks_like)
    if not found.candidates:
        layout.say(found.answer)
        return
    st.write(f"**{found.answer}**")
    for place, candidate in enumerate(found.candidates, 1):
        st.markdown(f"{place}. **{candidate.name}**: {candidate.sentence}")
    with st.container(horizontal=True):
        for candidate in found.candidates[:MOST_LINKS]:
            frame.link("drills", f"{candidate.name} →", drill=candidate.drill, fault=fault)
        layout.save_table(found.rows(), found.file)


def _one(reader: Reader, chosen: Choices, when: Season | None) -> None:
    st.header(_("One drill"))
    code = layout.choose(_("Drill"), chosen.drills, "drill")
    found = drill(reader, chosen.roster[code], when, narrow=layout.narrow())
    st.subheader(found.name, anchor=False)
    st.write(found.how)
    for caution in found.cautions:
        st.write(f"**{_('Take care.')}** {caution}")
    if found.unknown:
        layout.say(found.unknown)
    for sentence in found.effects:
        st.write(sentence)
    if found.groups:
        _groups(found.groups)
    if found.recent:
        st.subheader(_("Recently set for"), anchor=False)
        with st.container(horizontal=True):
            for student, words in found.recent:
                frame.link("student", words, student=student)


def _groups(found: Groups) -> None:
    st.subheader(_("For whom"), anchor=False)
    if found.none:
        layout.say(found.none)
    if found.picture:
        layout.picture(found.picture.chart, found.picture.words, found.picture.rows)
    if found.small:
        layout.aside(found.small)
