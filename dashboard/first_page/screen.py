"""The first page: what a new academy needs, from top to bottom, and one button."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from dashboard import elements as st
from dashboard import gate, layout, spreadsheet, student_list
from dashboard.first_page import content
from dashboard.first_page.content import Founder, Typed
from dashboard.student_list import COLUMNS, Columns, Student
from dashboard.text.catalogue import _
from dashboard.text.cautions import MINORS
from dashboard.text.labels import HANDS, PURPOSES
from dashboard.text.numbers import count, on
from warehouse import founding
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home
from warehouse.publishing import is_published

POLL_S = 0.5
CONSENTS = ("measure", "film")
EXAMPLE = ("name", "born", "handed")  # columns of a list


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
    more = st.text_area(_("Other coaches, one a line"), key="coaches", height=68)
    coaches = [line for line in more.splitlines() if line.strip()]
    staff = list(dict.fromkeys([head.strip() or _("you"), *coaches]))
    today = content.today_in(zone)
    students, open_question = _students(staff, today)
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


def _students(staff: Sequence[str], today: date) -> tuple[list[Student], str]:
    """Students as they are typed, pasted or dropped, with a preview; and what the list leaves open."""
    st.header(_("Students"), anchor=False)
    pasted = st.text_area(
        _("Type one name a line, or paste rows from a spreadsheet"),
        key="students",
        placeholder="\t".join(COLUMNS[code] for code in EXAMPLE),
    )
    file = st.file_uploader(
        _("Or drop a spreadsheet (csv, xlsx, ods)"), type=list(spreadsheet.ENDINGS), key="sheet"
    )
    try:
        rows = spreadsheet.read_file(file.name, file.getvalue()) if file else spreadsheet.read_text(pasted)
    except CallError as error:
        st.error(str(error))
        return [], ""
    if not rows:
        layout.aside(_("Students can also be added later, on the People page."))
        return [], ""
    columns = _columns(student_list.recognise(rows))
    day_first, open_question = None, ""
    if student_list.needs_day_order(rows, columns):
        order = {
            "": _("Choose …"),
            "day": _("day first (3 April: 03/04)"),
            "month": _("month first (3 April: 04/03)"),
        }
        said = st.selectbox(
            _("Days in this list have the"), list(order), format_func=order.__getitem__, key="order"
        )
        day_first = None if said == "" else said == "day"
        open_question = "" if said else _("whether the day or the month comes first in the list's days")
    found = student_list.students(rows, columns, today, day_first=day_first, coaches=staff)
    _preview(found)
    return found, open_question


def _columns(found: Columns) -> Columns:
    """What each column was taken for, to be corrected."""
    if len(found.ours) == 1:
        return found
    words = {"": _("not used"), **COLUMNS}
    codes, ours = list(words), []
    with st.expander(_("Columns, as they were recognised"), expanded=found.header is None):
        for i, code in enumerate(found.ours):
            head = found.header[i] if found.header else ""
            chosen = st.selectbox(
                head or _("Column {n}").format(n=i + 1), codes, index=codes.index(code),
                format_func=words.__getitem__, key=f"column-{i}-{head}-{code}",
            )  # fmt: skip
            ours.append(str(chosen))
    return Columns(tuple(ours), found.header)


def _preview(found: Sequence[Student]) -> None:
    odd = [student for student in found if student.oddities]
    st.write(
        _("{students}, {odd} with something odd.").format(students=count(len(found), "student"), odd=len(odd))
        if odd
        else _("{students}.").format(students=count(len(found), "student"))
    )
    shown = pl.DataFrame(
        {
            _("Name"): [s.name for s in found],
            _("Odd"): ["; ".join(s.oddities) for s in found],
            _("Birth date"): [s.born for s in found],
            _("Handed"): [HANDS.get(s.handed, "") if s.handed else "" for s in found],
            _("Foot, mm"): [s.foot_length_mm for s in found],
            _("Level"): [s.level for s in found],
            _("Coach"): [s.coach for s in found],
            _("Guardian"): [s.guardian for s in found],
        },
        schema_overrides={_("Birth date"): pl.Date, _("Foot, mm"): pl.Float64, _("Level"): pl.String,
                          _("Coach"): pl.String, _("Guardian"): pl.String},
    )  # fmt: skip
    filled = [
        name for name in shown.columns if shown[name].cast(pl.String).fill_null("").str.len_chars().sum()
    ]
    layout.table(shown.select(filled))


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
                    "Under age, or without a birth date, and no guardian in the list, so no consent is "
                    "recorded: {names}. Add it on the People page."
                ).format(names=", ".join(without))
            )
    layout.aside(_(MINORS))
    return elsewhere, agreed


def _drills() -> list[str]:
    """Which of the starter drills are kept."""
    kept = []
    drills = founding.starter_drills()
    with st.expander(_("{n} drills to begin with: keep or strike").format(n=len(drills))):
        for drill in drills:
            if st.checkbox(drill.name, value=True, key=f"drill-{drill.code}"):
                kept.append(drill.code)
            ages = _("From {age} years.").format(age=drill.min_age) if drill.min_age else ""
            layout.aside(f"{drill.how} {_('Caution:')} {drill.cautions} {ages}")
    return kept
