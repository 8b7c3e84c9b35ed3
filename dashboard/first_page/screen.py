"""The first page: what a new academy needs, from top to bottom, and one button."""

from collections.abc import Sequence
from datetime import date

from dashboard import elements as st
from dashboard import gate, layout, list_form
from dashboard.first_page import content
from dashboard.first_page.content import Founder, Typed
from dashboard.student_list import Student
from dashboard.text.catalogue import _
from dashboard.text.cautions import MINORS
from dashboard.text.labels import PURPOSES
from dashboard.text.numbers import on
from warehouse import founding
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.publishing import is_published

POLL_S = 0.5
CONSENTS = ("measure", "film")


def show(home: Home, founder: Founder) -> None:
    """The page: the form; once the academy is made and its first roster is loading, a word of patience."""
    if founding.is_founded(home):
        _loading(home)
        return
    st.title(_("A new academy"), anchor=False)
    st.write(_("It stays on this machine, and everything can be changed later."))
    typed = _form(home)
    missing = typed.missing()
    if missing:
        layout.aside(_("Still missing: {what}.").format(what=", ".join(missing)))
    if st.button(_("Make the academy"), type="primary", disabled=bool(missing), key="make"):
        try:
            content.make(home, typed, founder)
        except (UnderfootError, OSError) as error:
            st.error(_("Not saved. {error}").format(error=error))
            return
        st.rerun()


def _loading(home: Home) -> None:
    st.title(_("The academy is made"), anchor=False)
    st.write(_("Its roster is being loaded; the pages open by themselves in a few seconds."))
    layout.aside(_("If nothing loads here, run: underfoot load --home {home}").format(home=home.path))

    def look() -> None:
        if is_published(home):
            st.rerun(scope="app")

    gate.before_anyone(look, POLL_S)


def _form(home: Home) -> Typed:
    name, zone = _academy(home)
    season = _season(zone)
    head = st.text_input(_("Your name (you are the head coach)"), key="head")
    more = st.text_area(_("Other coaches, one per line"), key="coaches", height=68)
    coaches = [line for line in more.splitlines() if line.strip()]
    staff = list(dict.fromkeys([head.strip() or _("you"), *coaches]))
    today = content.today_in(zone)
    st.header(_("Students"), anchor=False)
    students, open_question = list_form.ask(staff, today)
    if not students:
        layout.aside(_("Students can also be added later, on the People page."))
    rest = None
    if coaches and any(student.coach is None for student in students):
        rest = st.selectbox(_("Students without a coach are coached by"), staff, key="rest")
    elsewhere, agreed = _consents(students)
    return Typed(
        name,
        zone,
        head,
        season,
        coaches,
        students,
        None if rest == staff[0] else rest,
        elsewhere,
        agreed,
        open_question,
        _drills(),
    )


def _academy(home: Home) -> tuple[str, str]:
    """Name and time zone: typed, or as an academy.toml that is there already has them."""
    if home.settings_file.exists():
        settings = home.settings()
        layout.say(
            _("academy.toml is here already and stays as it is: {name}, {zone}.").format(
                name=settings.name, zone=settings.time_zone
            )
        )
        return settings.name, settings.time_zone
    name = st.text_input(_("Name of the academy"), key="name")
    zones = founding.time_zones()
    here = zones.index(founding.machine_time_zone())
    return name, str(st.selectbox(_("Time zone"), zones, index=here, key="zone"))


def _season(zone: str) -> tuple[str, date, date]:
    usual = founding.this_year(zone)
    with st.expander(
        _("Season {season}: {first} to {last}").format(
            season=usual["season"], first=on(usual["from"]), last=on(usual["to"])
        )
    ):
        name = st.text_input(_("Name of the season"), usual["season"], key="season")
        first = st.date_input(_("First day"), usual["from"], key="first", format="DD/MM/YYYY")
        last = st.date_input(_("Last day"), usual["to"], key="last", format="DD/MM/YYYY")
        layout.aside(_("More seasons can be added on the People page."))
    return name, first, last


def _consents(students: Sequence[Student]) -> tuple[bool, list[str]]:
    """Whether consents are kept elsewhere, and which every student of the list has given."""
    st.header(_("Consents"), anchor=False)
    elsewhere = st.checkbox(_("We keep the consents elsewhere, on paper for instance"), key="elsewhere")
    layout.aside(
        _(
            "Notes need no consent. Measuring on plates and filming do; without one, such a session is "
            "not loaded."
        )
    )
    agreed = []
    if not elsewhere and students:
        st.write(_("Every student in the list, or their guardian, has agreed to:"))
        agreed = [p for p in CONSENTS if st.checkbox(PURPOSES[p], key=f"agreed-{p}")]
    if agreed:
        without = content.without_consent(students, agreed)
        if without:
            layout.say(
                _(
                    "Minors, or without a birth date, and no guardian in the list, so no consent is "
                    "recorded: {names}. Add it on the People page."
                ).format(names=", ".join(without))
            )
    layout.aside(_(MINORS))
    return elsewhere, agreed


def _drills() -> list[str]:
    """Which of the starter drills are kept."""
    kept = []
    drills = founding.starter_drills()
    with st.expander(_("{n} drills to start with; untick what you don't want").format(n=len(drills))):
        for drill in drills:
            if st.checkbox(drill.name, value=True, key=f"drill-{drill.code}"):
                kept.append(drill.code)
            ages = _("From {age} years.").format(age=drill.min_age) if drill.min_age else ""
            layout.aside(f"{drill.how} {_('Caution:')} {drill.cautions} {ages}")
    return kept
