"""The Drills page on screen."""

from typing import Any

from dashboard import elements as st
from dashboard import layout, navigation
from dashboard.pages.drills import content
from dashboard.pages.drills.content import Season
from dashboard.pages.drills.verdicts import advice_table, advised, finding, settling
from dashboard.text.catalogue import _
from dashboard.text.cautions import CLEAR_SPACE, IF_IT_HURTS
from dashboard.text.markdown import markdown
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Drills"), anchor=False)
    roster, season = content.roster(reader), None
    with layout.part():
        season = content.season(reader, layout.choose(_("Season"), content.seasons(reader), "season"))
    if season:
        rows = advised(season.effects)
        st.header(finding(rows), anchor=False)
        for named, said in content.advice_lines(reader, season):
            st.write(markdown("**{named}**. :small[{said}]", named=named, said=said))
        layout.aside(settling(rows))
        layout.save_table(advice_table(rows), _("what to do with each drill"))
    layout.aside(_(content.NOT_A_TRIAL))
    if season:
        with layout.part(_("All drills, each on its own aim")):
            layout.section(content.forest(reader, season, narrow=layout.narrow()))
        with layout.part(_("Which drill for a fault?")):
            _plan(reader, season)
    st.header(_("One drill"), anchor=False)
    _one(reader, roster, season)
    layout.aside(f"{_(IF_IT_HURTS)} {_(CLEAR_SPACE)}")


def _plan(reader: Reader, season: Season) -> None:
    faults = content.faults(reader)
    fault = layout.choose(_("Fault"), faults, "fault", default=season.first_fault)
    st.write(content.looks_like(reader, fault))
    plan = content.plan(reader, season, fault, faults[fault])
    st.write(markdown("**{answer}**", answer=plan.answer))
    for place, candidate in enumerate(plan.candidates, 1):
        st.write(markdown(f"{place}. **{{name}}**: {{said}}", name=candidate.name, said=candidate.sentence))
    with st.container(horizontal=True):
        for candidate in plan.candidates[: content.MOST_LINKS]:
            navigation.link("drills", f"{candidate.name} →", drill=candidate.drill, fault=fault)
        layout.save_table(plan.rows(), plan.file)


def _one(reader: Reader, roster: dict[str, dict[str, Any]], season: Season | None) -> None:
    names = {code: row["name"] for code, row in roster.items()}
    code = layout.choose(_("Drill"), names, "drill", default=season.clearest if season else None)
    about = roster[code]
    st.subheader(about["name"], anchor=False)
    st.write(content.how(about))
    for caution in content.cautions(reader, about):
        layout.lead(_("Take care."), caution)
    if season is None:
        return
    with layout.part():
        known = content.known_effects(season, code)
        for sentence in content.effects(known):
            st.write(sentence)
        st.subheader(_("For whom"), anchor=False)
        layout.section(content.groups(reader, season, known[0], narrow=layout.narrow()))
    recent = content.recent(reader, code)
    if recent:
        st.subheader(_("Recently set for"), anchor=False)
        with st.container(horizontal=True):
            for student, words in recent.items():
                navigation.link("student", words, student=student)
