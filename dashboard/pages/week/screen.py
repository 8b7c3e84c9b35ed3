"""The weekly review on screen: whom to talk to first, then a work list, each signal with a tick."""

from dashboard import elements as st
from dashboard import gate, layout, navigation
from dashboard.downloads import file_name
from dashboard.pages.week import content
from dashboard.pages.week.content import ALL, Part, Review
from dashboard.pages.week.entries import MEASURED, TALK, Entry, joined, talked_sentence
from dashboard.pages.week.faults import top_faults
from dashboard.pages.week.last_visits import last_visits
from dashboard.pages.week.paper import review_html
from dashboard.text.catalogue import _, keeping_language
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
    layout.aside(joined(whole.about, whole.longest))
    entries = _chosen(reader, whole)
    first = content.people_first(entries)
    for part in whole.parts(entry for entry in entries if entry not in first):
        if part.code == TALK and first:
            st.header(_("Talk to these first"), anchor=False)
            for entry in first:
                _entry(entry)
        if part.entries or not (part.code == TALK and first):
            _part(part)
    layout.aside(whole.chance)
    with layout.part(_("Faults that show most")):
        layout.table(top_faults(reader), _("faults that show most"))
    _save(reader, whole)


def _part(part: Part) -> None:
    st.header(part.heading, anchor=False)
    if part.lead:
        st.write(part.lead)
    if not part.entries:
        layout.say(part.nothing)
    for caution in part.cautions:
        st.warning(caution)
    everything = not part.more or st.toggle(part.more, key=f"all-{part.code}")
    for entry in part.entries if everything else part.first:
        _entry(entry)


def _chosen(reader: Reader, whole: Review) -> tuple[Entry, ...]:
    """What the coach and tick filters leave; a coach has only their own students anyway."""
    coach, whose = ALL, {ALL: _("All coaches"), **whole.coaches}
    with st.popover(_("Choose what to show")):
        states = {ALL: _("Everything"), OPEN: _("Not talked about yet")}
        state = layout.choose(_("Show"), states, "show", default=ALL)
        if reader.viewer.role == "head_coach" and len(whole.coaches) > 1:
            coach = layout.choose(_("Coach"), whose, "coach")
    return whole.chosen(coach, _ticked(reader) if state == OPEN else None)


@gate.fragment
def _entry(entry: Entry) -> None:
    """One signal in a line of the list; only its own line runs again when it is touched."""
    reader = gate.reader()
    picture = last_visits(reader, entry)
    with st.container(key=f"line-{entry.signal}", gap="small"):
        if layout.narrow():
            _said(entry, reader)
            with st.container(horizontal=True, vertical_alignment="center"):
                if picture:
                    st.drawing(*picture)
                _tick(entry, reader)
        else:
            seen, said, done = st.columns([1.2, 5, 1.3], vertical_alignment="center", gap="small")
            with seen:
                if picture:
                    st.drawing(*picture)
            with said:
                _said(entry, reader)
            with done:
                _tick(entry, reader)
        _talked(entry, reader)


def _said(entry: Entry, reader: Reader) -> None:
    with st.container(gap=None):
        with st.container(horizontal=True, vertical_alignment="center", gap="small"):
            _link(entry)
            st.text(entry.about(coach=reader.viewer.role == "head_coach"))
        st.text(entry.short)


def _tick(entry: Entry, reader: Reader) -> None:
    if entry.student is not None and not entry.ticked and entry.signal not in _ticked(reader):
        key = f"talked-{entry.signal}"
        save = keeping_language(_save_tick)
        st.checkbox(_("Talked about"), key=key, on_change=save, args=(entry, reader, key))


def _link(entry: Entry) -> None:
    if entry.kind == "refused":
        navigation.link("deliveries", _("Fix it on Deliveries →"))
    elif entry.student is not None:
        measure = entry.subject if entry.kind in MEASURED else None
        choices = {"student": entry.student, "measure": measure, "clubs": entry.family}
        address = {name: code for name, code in choices.items() if code is not None}
        navigation.link("student", f"{entry.name} →", **address)


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
    said = talked_sentence(reader.viewer.display_name, reader.settings.today)
    _ticked(reader)[entry.signal] = said


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
        layout.save(_("Save for printing (HTML)"), lambda: review_html(reader, whole), page, "text/html")
        if whole.entries:
            layout.save_table(whole.rows(), name)
