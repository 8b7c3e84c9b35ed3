"""The Drills page on screen."""

import streamlit as st

from dashboard import layout, navigation
from dashboard.pages.drills import content
from dashboard.pages.drills.content import Choices, Season
from dashboard.text.catalogue import _
from dashboard.text.cautions import CLEAR_SPACE, IF_IT_HURTS
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Drills"), anchor=False)
    chosen = content.choices(reader)
    layout.aside(_(content.NOT_A_TRIAL))
    season = None
    if chosen.seasons:
        when = layout.choose(_("Season"), chosen.seasons, "season")
        season = content.season(reader, when, chosen.faults)
        st.header(_("All drills, each on its own aim"))
        layout.section(content.forest(season.effects, narrow=layout.narrow()))
        _plan(reader, chosen, season)
    else:
        layout.say(_(content.NO_EFFECTS))
    _one(reader, chosen, season)
    layout.aside(f"{_(IF_IT_HURTS)} {_(CLEAR_SPACE)}")


def _plan(reader: Reader, chosen: Choices, season: Season) -> None:
    st.header(_("Which drill for a fault?"))
    if not chosen.faults:
        layout.say(_(content.NO_FAULTS))
        return
    fault = layout.choose(_("Fault"), chosen.faults, "fault", default=season.first_fault)
    plan = content.plan(reader, season, fault, chosen.faults[fault])
    st.write(plan.looks_like)
    if not plan.candidates:
        layout.say(plan.answer)
        return
    st.write(f"**{plan.answer}**")
    for place, candidate in enumerate(plan.candidates, 1):
        st.markdown(f"{place}. **{candidate.name}**: {candidate.sentence}")
    with st.container(horizontal=True):
        for candidate in plan.candidates[: content.MOST_LINKS]:
            navigation.link("drills", f"{candidate.name} →", drill=candidate.drill, fault=fault)
        layout.save_table(plan.rows(), plan.file)


def _one(reader: Reader, chosen: Choices, season: Season | None) -> None:
    st.header(_("One drill"))
    code = layout.choose(_("Drill"), chosen.drills, "drill")
    drill = content.drill(reader, chosen.roster[code], season, narrow=layout.narrow())
    st.subheader(drill.name, anchor=False)
    st.write(drill.how)
    for caution in drill.cautions:
        st.write(f"**{_('Take care.')}** {caution}")
    if drill.unknown:
        layout.say(drill.unknown)
    for sentence in drill.effects:
        st.write(sentence)
    if drill.groups:
        st.subheader(_("For whom"), anchor=False)
        layout.section(drill.groups)
    if drill.recent:
        st.subheader(_("Recently set for"), anchor=False)
        with st.container(horizontal=True):
            for student, words in drill.recent:
                navigation.link("student", words, student=student)
