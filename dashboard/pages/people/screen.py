"""People: add, change and end; who coaches whom; consents; what is missing and what that costs."""

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from dashboard import elements as st
from dashboard import gate, layout, list_form, readers
from dashboard.pages.people import changes, content
from dashboard.pages.people.content import FIELDS, Person, Row
from dashboard.text.catalogue import _
from dashboard.text.cautions import MINORS
from dashboard.text.labels import HANDS, PURPOSES, ROLES
from dashboard.text.numbers import capitalized
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.founding import is_loading
from warehouse.vocabulary import STAFF

POLL_S = 1.0
DAY = "DD/MM/YYYY"
LONG_AGO = date(1910, 1, 1)


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("People"), anchor=False)
    gate.fragment(_follow, every_s=POLL_S if is_loading(reader.home) else None)()
    everyone = content.rows(reader)
    names = {
        code: f"{row['display_name']}, {ROLES.get(row['role'], row['role'])}"
        for code, row in everyone.items()
    }
    code = layout.choose(_("Person"), names, "person")
    if code != st.session_state.get("person-shown"):
        st.session_state["person-shown"] = code
        st.session_state.pop("person-was", None)
    found = content.person(reader, code)
    reader.opened("People", code if found.row["role"] == "student" else None)
    for sentence in found.missing:
        st.write(f"• {capitalized(sentence)}.")
    _change(reader, found)
    if found.row["role"] == "student":
        _coaching(reader, code)
        _consents(reader, code)
    _end(reader, found)
    _add(reader)
    with layout.part(_("Everybody")):
        layout.table(content.table(reader), _("People"))
    layout.aside(_(MINORS))


def _follow() -> None:
    """What was saved is on its way; the page runs again once it is loaded."""
    home = gate.reader().home
    if readers.newly_published(home, "people"):
        if st.session_state.pop("person-saved", False):
            st.session_state.pop("person-was", None)
        st.rerun(scope="app")
    if is_loading(home):
        layout.say(_("Saved; it is being loaded and shows here in a moment."))


def _save(put: Callable[[], Path]) -> None:
    """Deliver a change, or say why not; the page then runs again and follows it."""
    try:
        put()
    except (UnderfootError, OSError) as error:
        st.error(str(error))
        return
    st.session_state["person-saved"] = True
    st.toast(_("Saved."))
    st.rerun()


def _change(reader: Reader, found: Person) -> None:
    """A person's row in a form. What it starts from is kept until it is saved: see `changes.change`."""
    was: Row = st.session_state.setdefault("person-was", found.row)
    differs = changes.differences(was, found.row)
    if differs:
        st.warning(_("{name} was changed meanwhile: {changes}.").format(name=found.name, changes=differs))
        if st.button(_("Start from what the roster has now"), key="person-anew"):
            st.session_state.pop("person-was")
            st.rerun()
    with st.form("person", border=True):
        after = _fields(reader, was)
        if st.form_submit_button(_("Save"), type="primary"):
            _save(lambda: changes.change(reader, was, after))


def _fields(reader: Reader, was: Row) -> Row:
    """The fields that a person of this role has."""
    key = hash(tuple(map(str, was.values())))  # fields of another row are other fields
    name = st.text_input(FIELDS["display_name"], was["display_name"], key=f"name-{key}")
    after = was | {"display_name": " ".join(name.split())}
    if was["role"] in STAFF:
        after["role"] = st.selectbox(
            FIELDS["role"], STAFF, STAFF.index(was["role"]), format_func=ROLES.__getitem__, key=f"role-{key}"
        )
    if was["role"] == "guardian":
        after["guardian_of"] = _wards(reader, was)
    if was["role"] == "student":
        after["born"] = _born(reader, was["born"], f"born-{key}")
        hands = [None, *HANDS]
        after["handed"] = st.selectbox(
            FIELDS["handed"], hands, hands.index(was["handed"]), key=f"handed-{key}",
            format_func=lambda hand: HANDS[hand] if hand else _("not known"),
        )  # fmt: skip
        shortest, longest = content.SHORTEST_FOOT_MM, content.LONGEST_FOOT_MM
        after["foot_length_mm"] = st.number_input(
            _("Foot length, mm"), shortest, longest, was["foot_length_mm"], 1.0, "%.1f", key=f"foot-{key}"
        )
        layout.aside(
            _(
                "Stand with the heel against a wall, weight on both feet; measure from the wall to the "
                "tip of the longest toe, in mm. Of the two feet, take the longer. Children: every half year."
            )
        )
        level = st.text_input(FIELDS["level"], was["level"] or "", key=f"level-{key}")
        after["level"] = level.strip() or None
    after["joined"] = st.date_input(FIELDS["joined"], was["joined"], format=DAY, key=f"joined-{key}")
    return after


def _born(reader: Reader, born: date | None, key: str) -> date | None:
    return st.date_input(
        FIELDS["born"], born, min_value=LONG_AGO, max_value=reader.today, format=DAY, key=key
    )


def _pick(label: str, names: Mapping[str, str], key: str, first: int = 0) -> str:
    """A choice among code → words."""
    return st.selectbox(label, list(names), first, format_func=names.__getitem__, key=key)


def _wards(reader: Reader, was: Row) -> list[str]:
    students = {
        c: str(row["display_name"]) for c, row in content.rows(reader).items() if row["role"] == "student"
    }
    chosen = st.multiselect(
        FIELDS["guardian_of"], list(students), was["guardian_of"] or [],
        format_func=lambda c: students.get(c, c), key=f"wards-{was['person']}",
    )  # fmt: skip
    return list(chosen)


def _coaching(reader: Reader, student: str) -> None:
    names = content.coaches(reader)
    with st.expander(_("Coach")):
        for span in content.coaching(reader, student).iter_rows(named=True):
            st.write(content.coaching_words(reader, span))
        if not names:
            return
        coach = _pick(_("New coach"), names, f"coach-{student}")
        first = st.date_input(_("From"), reader.today, format=DAY, key=f"coach-from-{student}")
        if st.button(_("Change the coach"), key=f"coach-save-{student}"):
            _save(lambda: changes.change_coach(reader, student, coach, first))


def _consents(reader: Reader, student: str) -> None:
    names = {code: str(row["display_name"]) for code, row in content.rows(reader).items()}
    with st.expander(_("Consents")):
        if reader.settings.consents_kept_elsewhere:
            layout.aside(_("Consents are kept elsewhere; what is recorded here adds to them."))
        for number, line in enumerate(content.consents(reader, student).iter_rows(named=True)):
            st.write(content.consent_words(line, names))
            if line["to"] is None and st.button(_("End today"), key=f"consent-{student}-{number}"):
                _save(partial(changes.end_consent, reader, line, reader.today))
        givers = content.givers(reader, student)
        if not givers:
            layout.say(_("A minor: add a guardian first, who then consents."))
            return
        purpose = _pick(_("For"), PURPOSES, f"for-{student}")
        giver = _pick(_("Given by"), givers, f"giver-{student}")
        first = st.date_input(_("From"), reader.today, format=DAY, key=f"consent-from-{student}")
        if st.button(_("Record the consent"), key=f"consent-save-{student}"):
            _save(lambda: changes.give_consent(reader, student, purpose, giver, first))


def _end(reader: Reader, found: Person) -> None:
    code, left = found.row["person"], found.row["left"]
    with st.expander(_("{name} leaves").format(name=found.name) if left is None else _("Has left")):
        if left is not None:
            if st.button(_("{name} is back").format(name=found.name), key=f"back-{code}"):
                _save(lambda: changes.change(reader, found.row, found.row | {"left": None}))
            return
        last = st.date_input(_("Last day"), reader.today - timedelta(days=1), format=DAY, key=f"left-{code}")
        layout.aside(_("What was recorded stays. To remove everything of a student, see the Student page."))
        if st.button(_("Save the last day"), key=f"left-save-{code}"):
            _save(lambda: changes.end(reader, found.row, last))


def _add(reader: Reader) -> None:
    st.header(_("Add"), anchor=False)
    names = content.coaches(reader)
    with st.expander(_("One person")):
        role = _pick(_("Role"), ROLES, "add-role", 2)
        with st.form("add", clear_on_submit=True, border=False):
            row: dict[str, Any] = {"role": role}
            row["display_name"] = " ".join(st.text_input(FIELDS["display_name"], key="add-name").split())
            if role == "student":
                row["born"] = _born(reader, None, "add-born")
            if role == "guardian":
                row["guardian_of"] = _wards(reader, {"person": "new", "guardian_of": []})
            row["joined"] = st.date_input(FIELDS["joined"], reader.today, format=DAY, key="add-joined")
            coach = None
            if role == "student" and names:
                coach = _pick(_("Coach"), names, "add-coach")
            if st.form_submit_button(_("Add")):
                _save(lambda: changes.add(reader, row, coach))
    with st.expander(_("Several students")):
        taken = [str(row["display_name"]) for row in content.rows(reader).values()]
        found, open_question = list_form.ask(list(names.values()), reader.today, taken)
        usual = _pick(_("Students without a coach are coached by"), names, "add-usual")
        if st.button(_("Add them"), disabled=not found or bool(open_question), key="add-list"):
            _save(lambda: changes.add_students(reader, found, usual))
    with st.expander(_("A season")), st.form("season", clear_on_submit=True, border=False):
        name = st.text_input(_("Name of the season"), key="season-name")
        first = st.date_input(_("First day"), reader.today, format=DAY, key="season-first")
        last = st.date_input(_("Last day"), reader.today + timedelta(days=182), format=DAY, key="season-last")
        if st.form_submit_button(_("Add the season")):
            _save(lambda: changes.add_season(reader, name, first, last))
