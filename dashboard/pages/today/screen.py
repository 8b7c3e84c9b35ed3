"""Today: who was seen lately and what is still missing, who is overdue; the lesson sheet one tap away."""

from collections.abc import Callable, Sequence

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
    _coming(reader)
    _part(reader, _("Seen lately"), content.lately, _("Nobody was seen in the last seven days."))
    _part(reader, _("Not seen for four weeks"), content.overdue, _("Nobody is overdue."))
    _part(reader, _("Everyone else"), content.others, _("There is nobody else."))
    layout.aside(_(MINORS))


def _coming(reader: Reader) -> None:
    """Who comes today, by the calendar; nothing where there is no lesson in it."""
    try:
        found = content.coming(reader)
    except UnderfootError as error:
        st.warning(str(error))
        return
    if not found:
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


def _part(reader: Reader, heading: str, find: Callable[[Reader], Sequence[Line]], nobody: str) -> None:
    with layout.part(heading):
        found = find(reader)
        if not found:
            st.write(nobody)
        for line in found[:SHOWN]:
            _line(line)
        if len(found) > SHOWN:
            layout.aside(_("{n} more are on the Students page.").format(n=len(found) - SHOWN))
