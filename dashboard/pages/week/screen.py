"""The weekly review on screen: a work list, each signal with a tick for once it was talked about."""

from datetime import datetime

from dashboard import elements as st
from dashboard import gate, layout, navigation
from dashboard.downloads import file_name
from dashboard.pages.week import content
from dashboard.pages.week.content import ALL, Review
from dashboard.pages.week.entries import MEASURED, PICTURED, Entry, talked_sentence
from dashboard.text.catalogue import _, keeping_language
from dashboard.text.markdown import markdown
from dashboard.text.numbers import count
from warehouse.access import Reader
from warehouse.errors import UnderfootError

OPEN = "open"


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("This week"), anchor=False)
    whole = content.review(reader)
    if whole is None:
        raise UnderfootError(_(content.NO_REVIEW))
    layout.aside(whole.about)
    for part in whole.parts(_chosen(reader, whole)):
        st.header(part.heading)
        if part.lead:
            st.write(part.lead)
        if not part.entries:
            layout.say(part.nothing)
        everything = not part.more or st.toggle(part.more, key=f"all-{part.code}")
        for entry in part.entries if everything else part.first:
            _entry(entry)
    _save(reader, whole)


def _chosen(reader: Reader, whole: Review) -> tuple[Entry, ...]:
    """What the coach and tick filters leave; a coach has only their own students anyway."""
    left, right = st.columns(2)
    with left:
        states = {ALL: _("Everything"), OPEN: _("Not talked about yet")}
        state = layout.choose(_("Show"), states, "show", default=ALL)
    coach = ALL
    if reader.viewer.role == "head_coach" and len(whole.coaches) > 1:
        with right:
            coach = layout.choose(_("Coach"), {ALL: _("All coaches"), **whole.coaches}, "coach")
    return whole.chosen(coach, _ticked(reader) if state == OPEN else None)


@gate.fragment
def _entry(entry: Entry) -> None:
    """One signal; only its own box runs again when it is touched."""
    reader = gate.reader()
    with st.container(border=True):
        about = entry.about(coach=reader.viewer.role == "head_coach")
        st.write(markdown("**{name}** · {about}", name=entry.name, about=about))
        st.text(entry.text)
        if entry.caution:
            st.warning(entry.caution)
        drawn = False
        with st.container(horizontal=True, vertical_alignment="center", gap="medium"):
            _link(entry)
            if entry.kind in PICTURED and entry.student is not None and entry.subject is not None:
                drawn = st.toggle(_("Show the picture"), key=f"picture-{entry.signal}")
            if entry.student is not None and not entry.ticked and entry.signal not in _ticked(reader):
                key = f"talked-{entry.signal}"
                save = keeping_language(_save_tick)
                st.checkbox(_("Talked about"), key=key, on_change=save, args=(entry, reader, key))
        _talked(entry, reader)
        if drawn:
            with layout.part():
                layout.section(content.picture(reader, entry, narrow=layout.narrow()), place=entry.signal)


def _link(entry: Entry) -> None:
    if entry.kind == "refused":
        navigation.link("deliveries", _("Fix it on Deliveries →"))
    elif entry.student is not None:
        measure = entry.subject if entry.kind in MEASURED else None
        choices = {"student": entry.student, "measure": measure, "clubs": entry.family}
        address = {name: code for name, code in choices.items() if code is not None}
        navigation.link("student", _("Open {name}'s page →").format(name=entry.name), **address)


def _ticked(reader: Reader) -> dict[str, str]:
    """Signal → its sentence, of those ticked off in this visit, which may not be loaded yet."""
    ticked: dict[str, str] = st.session_state.setdefault(f"talked {reader.viewer.person}", {})
    return ticked


def _save_tick(entry: Entry, reader: Reader, key: str) -> None:
    """Write the tick to the inbox first; only then is it shown as saved."""
    try:
        content.tick_off(reader, str(entry.student), entry.signal)
    except (UnderfootError, OSError) as error:
        st.session_state[key] = False
        st.session_state[f"{key}-failed"] = _("Not saved. {error}").format(error=error)
        return
    st.session_state.pop(f"{key}-failed", None)
    today = datetime.now(reader.settings.zone).date()
    _ticked(reader)[entry.signal] = talked_sentence(reader.viewer.display_name, today)


def _talked(entry: Entry, reader: Reader) -> None:
    failed = st.session_state.get(f"talked-{entry.signal}-failed")
    if failed:
        st.error(failed)
    if now := _ticked(reader).get(entry.signal):
        layout.aside(f"☑ {now} {_('Saved.')}")
    elif entry.talked:
        again = _("It has come up again since.")
        layout.aside(f"☑ {entry.talked}" if entry.ticked else f"{entry.talked} {again}")


def _save(reader: Reader, whole: Review) -> None:
    st.header(_("Print or save"))
    st.write(
        _(
            "{signals} this week: print them with boxes to tick for the staff meeting, or save them as a "
            "table."
        ).format(signals=count(len(whole.entries), "signal"))
    )
    name = _("week {week}").format(week=whole.week)
    with st.container(horizontal=True):
        page = file_name(name, "html")
        layout.save(
            _("Save for printing (HTML)"), lambda: content.review_html(reader, whole), page, "text/html"
        )
        if whole.entries:
            layout.save_table(whole.rows(), name)
