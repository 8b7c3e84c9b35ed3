"""The page How sure are we on screen."""

import streamlit as st

from dashboard import frame, layout
from dashboard.pages.trust.content import (
    ALL,
    NO_CALIBRATION,
    NO_RELIABILITY,
    NOTHING_TO_COMPARE,
    Evidence,
    agreement,
    calibration,
    claims,
    coaches,
    families,
    seasons,
    session_worth,
)
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("How sure are we"), anchor=False)
    season = layout.choose(_("Season"), {name: name for name in seasons(reader)}, "season")
    _session_worth(reader, season)
    _calibration(reader)
    _agreement(reader, season)
    if reader.viewer.role == "head_coach":
        st.header(_("What was left out"))
        st.write(_("Every swing and delivery that stays out of these answers, by reason, device and coach."))
        frame.link("quality", _("Open Data quality →"))


def _session_worth(reader: Reader, season: str) -> None:
    st.header(_("What one session is worth"))
    possible = families(reader, season)
    if not possible:
        layout.say(_(NO_RELIABILITY))
        return
    family = layout.choose(_("Clubs"), possible, "clubs")
    _evidence(session_worth(reader, season, family, narrow=layout.narrow()))


def _calibration(reader: Reader) -> None:
    st.header(_("How often our claims hold"))
    rows = claims(reader)
    if rows.is_empty():
        layout.say(_(NO_CALIBRATION))
        return
    names = rows["claim"].unique(maintain_order=True)
    claim = layout.choose(_("Claim"), {name: name for name in names}, "claim")
    found = calibration(rows, claim, narrow=layout.narrow())
    layout.picture(found.picture.chart, found.picture.words, found.picture.rows)
    layout.aside(found.picture.key)
    st.write(found.summary)
    with st.expander(_("All figures as a table")):
        layout.table(found.table, _("calibration"))


def _agreement(reader: Reader, season: str) -> None:
    st.header(_("Eye and plate"))
    possible = coaches(reader, season)
    coach = layout.choose(_("Whose eye"), possible, "eye") if possible else ALL
    found = agreement(reader, season, coach, narrow=layout.narrow())
    if found is None:
        layout.say(_(NOTHING_TO_COMPARE))
        return
    _evidence(found)


def _evidence(found: Evidence) -> None:
    if found.picture is None:
        layout.table(found.table, found.file)
    else:
        layout.picture(found.picture.chart, found.picture.words, found.picture.rows)
        if found.picture.key:
            layout.aside(found.picture.key)
    layout.aside(found.key)
    if found.advice:
        st.write(found.advice)
