"""Swings: which swing showed what, in one table to filter and save; and the student's reference swing."""

from collections.abc import Callable
from dataclasses import replace

from dashboard import elements as st
from dashboard import layout, navigation, reference_swing, safety
from dashboard.pages.swings import content
from dashboard.pages.swings.content import ALL, Filter
from dashboard.queries import people
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import _
from dashboard.text.cautions import BANDS_ARE_CUSTOM
from dashboard.text.markdown import markdown
from dashboard.text.numbers import capitalized
from warehouse.access import Reader
from warehouse.errors import UnderfootError


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Swings")
    st.title(_("Swings of {name}").format(name=person["name"]), anchor=False)
    for said in safety.out_of_use(reader, person["student"]):
        layout.aside(said)
    navigation.link("student", _("See them drawn, on the student's page →"), student=person["student"])
    with layout.part():
        season = layout.choose(_("Season"), content.seasons(reader, person["student"]), "season")
        chosen = StudentSeason(reader, person, season)
        found = content.everything(chosen)
        choices = content.filters(chosen, found)
        picked = {}
        for place, (name, (title, options)) in zip(st.columns(len(choices)), choices.items(), strict=True):
            with place:
                picked[name] = layout.choose(title, options, f"which-{name}", default=ALL)
        shown = content.filtered(found, Filter(**picked))
        st.write(content.summary(found, shown))
        layout.table(content.table(chosen, shown), _("Swings of {name}").format(name=person["name"]))
        _reference(chosen)
    layout.aside(_(BANDS_ARE_CUSTOM))


def _reference(chosen: StudentSeason) -> None:
    """The swing that the student's own are held against, and the form to choose it."""
    reader, season = chosen.reader, None if chosen.season == ALL else chosen.season
    with layout.part(_("Reference swing")):
        family = layout.clubs(people.families(reader, season, chosen.student) or ["iron"])
        chosen = replace(chosen, family=family)
        now = reference_swing.find(reader, chosen.student, family)
        if now is None:
            st.write(
                _("None chosen with these clubs. A reference is drawn beneath the student's load curve.")
            )
        else:
            pattern = "**{name}**. {chosen} {withheld}"
            st.write(markdown(pattern, name=capitalized(now.name), chosen=now.chosen, withheld=now.withheld))
            if st.button(_("No longer use it")):
                _keep(lambda: reference_swing.end(reader, chosen.student, now))
        layout.aside(
            _(
                "The player's own best swing is the first choice. Another player's is offered if they, or "
                "their guardian, agreed to it in writing; those nearest in foot length and weight come first."
            )
        )
        one, two = st.columns(2)
        with one:
            owner = layout.choose(_("Whose swing"), content.players(chosen), "whose")
        with two:
            swing = layout.choose(_("Which swing"), content.offered(reader, owner, family), "reference")
        if st.button(_("Use it as the reference"), type="primary"):
            session, number = swing.rsplit(" ", 1)
            student = chosen.student
            _keep(lambda: reference_swing.choose(reader, student, owner, session, int(number)))


def _keep(put: Callable[[], object]) -> None:
    """Keep a choice, and say so only once the disk has it."""
    try:
        put()
    except (UnderfootError, OSError) as error:
        st.error(_("Not saved. {error}").format(error=error))
    else:
        st.success(_("Saved. It shows on the pages once it is loaded."))
