"""Today: who was seen lately and what is still missing, who is overdue; the lesson sheet one tap away."""

from collections.abc import Sequence

from dashboard import elements as st
from dashboard import layout, navigation
from dashboard.pages.today import content
from dashboard.pages.today.content import Coming, Line
from dashboard.text.catalogue import _
from dashboard.text.cautions import MINORS
from warehouse.access import Reader
from warehouse.errors import UnderfootError

SHOWN = 12  # students of a part; the rest is on the other pages


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Today"), anchor=False)
    lately, overdue, others = content.lately(reader), content.overdue(reader), content.others(reader)
    _coming(reader)
    _part(_("Seen lately"), lately, _("Nobody was seen in the last seven days."))
    _part(_("Not seen for four weeks"), overdue, _("Nobody is overdue."))
    if others:
        _part(_("Everyone else"), others)
    layout.aside(_(MINORS))


def _coming(reader: Reader) -> None:
    """Who comes today, by the calendar, or where a calendar goes."""
    try:
        found = content.coming(reader)
    except UnderfootError as error:
        st.warning(str(error))
        return
    if not found:
        layout.aside(
            _("No lesson in the calendar today. A calendar (.ics) can be dropped on the Deliveries page.")
        )
        return
    st.header(_("Lessons today"), anchor=False)
    for one in found:
        if one.asked or (one.key and st.session_state.get(f"ask-{one.key}")):
            _ask(reader, one)
            continue
        with st.container(border=True):
            layout.lead(one.when, one.text)
            for line in one.students:
                _line(line)
            if one.key and st.button(
                _("Someone else is coming"), key=f"else-{one.when}-{one.key}", type="tertiary"
            ):
                st.session_state[f"ask-{one.key}"] = True
                st.session_state.pop(f"said-{one.key}", None)
                st.rerun()


def _ask(reader: Reader, one: Coming) -> None:
    """Ask who is coming where the calendar leaves it open; only once, since the choice is delivered."""
    layout.aside(content.unclear(one))
    if not one.key:
        return
    said: str | None = st.session_state.get(f"said-{one.key}")
    names = content.choices(reader, one)
    if said is not None:
        layout.aside(_("Saved: {answer}. It takes effect in a moment.").format(answer=names[said]))
        return
    chosen = st.selectbox(
        _("Who is coming?"), list(names), index=None, format_func=lambda code: names[code],
        key=f"who-{one.when}-{one.key}", placeholder=_("Choose"), width=320,
    )  # fmt: skip
    if chosen is None:
        return
    try:
        content.answer(reader, one, chosen)
    except (UnderfootError, OSError) as error:
        st.error(_("Not saved. {error}").format(error=error))
        return
    st.session_state[f"said-{one.key}"] = chosen
    st.session_state.pop(f"ask-{one.key}", None)
    st.rerun()


def _line(line: Line) -> None:
    layout.lead(line.name, line.sentence)
    with st.container(horizontal=True):
        navigation.link("lesson", _("Lesson sheet →"), student=line.student)
        navigation.link("session", _("New session →"), student=line.student)
        navigation.link("notes", _("Write a note →"), student=line.student)


def _part(heading: str, found: Sequence[Line], nobody: str = "") -> None:
    st.header(heading, anchor=False)
    if not found:
        st.write(nobody)
    for line in found[:SHOWN]:
        _line(line)
    if len(found) > SHOWN:
        navigation.link("students", _("{n} more, on the Students page →").format(n=len(found) - SHOWN))
