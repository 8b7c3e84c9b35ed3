"""The page How sure are we on screen."""

import streamlit as st

from dashboard import layout, navigation
from dashboard.pages.trust import content
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("How sure are we"), anchor=False)
    season = layout.choose(_("Season"), content.seasons(reader), "season")
    _session_worth(reader, season)
    _calibration(reader)
    _agreement(reader, season)
    if reader.viewer.role == "head_coach":
        st.header(_("What was left out"))
        st.write(_("Every swing and delivery that stays out of these answers, by reason, device and coach."))
        navigation.link("quality", _("Open Data quality →"))


def _session_worth(reader: Reader, season: str) -> None:
    st.header(_("What one session is worth"))
    families = content.families(reader, season)
    if not families:
        layout.say(_(content.NO_RELIABILITY))
        return
    family = layout.choose(_("Clubs"), families, "clubs")
    layout.section(content.session_worth(reader, season, family, narrow=layout.narrow()))


def _calibration(reader: Reader) -> None:
    st.header(_("How often our claims hold"))
    rows = content.claims(reader)
    if rows.is_empty():
        layout.say(_(content.NO_CALIBRATION))
        return
    claim = layout.choose(_("Claim"), list(rows["claim"].unique(maintain_order=True)), "claim")
    layout.section(content.calibration(rows, claim, narrow=layout.narrow()))
    with st.expander(_("All figures as a table")):
        layout.table(content.figures(rows), _("calibration"))


def _agreement(reader: Reader, season: str) -> None:
    st.header(_("Eye and plate"))
    coaches = content.coaches(reader, season)
    coach = layout.choose(_("Whose eye"), coaches, "eye") if coaches else content.ALL
    layout.section(content.agreement(reader, season, coach, narrow=layout.narrow()))
