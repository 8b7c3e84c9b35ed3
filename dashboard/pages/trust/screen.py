"""The page How sure are we on screen."""

from dashboard import elements as st
from dashboard import layout, navigation
from dashboard.charts import calibration_goals
from dashboard.pages.trust import content
from dashboard.text.catalogue import _
from dashboard.text.markdown import markdown
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    narrow = layout.narrow()
    st.title(_("How sure are we"), anchor=False)
    season = layout.choose(_("Season"), content.seasons(reader), "season")
    for said in content.in_short(reader, season):
        st.write(markdown("- {said}", said=said))
    with st.expander(_("How our claims turned out")), layout.part():
        layout.section(content.claims_since(reader, season))
    with st.expander(_("What one session is worth")), layout.part():
        family = layout.clubs(content.families(reader, season))
        layout.section(content.session_worth(reader, season, family, narrow=narrow))
    with st.expander(_("How often our claims hold")), layout.part():
        rows = content.claims(reader)
        claim = layout.choose(_("Claim"), list(rows["claim"].unique(maintain_order=True)), "claim")
        layout.section(content.calibration(reader, claim, narrow=narrow))
        with st.expander(_("All figures as a table")):
            layout.table(calibration_goals.table(rows), _("calibration"))
    with st.expander(_("Eye and plate")), layout.part():
        coaches = content.coaches(reader, season)
        coach = layout.choose(_("Whose eye"), coaches, "eye") if coaches else content.ALL
        layout.section(content.agreement(reader, season, coach, narrow=narrow))
    if reader.viewer.role == "head_coach":
        with layout.part(_("What was left out")):
            st.write(
                _("Every swing and delivery that stays out of these answers, by reason, device and coach.")
            )
            navigation.link("quality", _("Open Data quality →"))
