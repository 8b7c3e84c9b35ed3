"""The weekly review on screen: pain, whom to see first, what came and went; then the whole list, to tick."""

from collections.abc import Iterable, Sequence

from dashboard import elements as st
from dashboard import gate, layout, navigation
from dashboard.pages.week import content
from dashboard.pages.week.actions import Actions
from dashboard.pages.week.content import ALL, Part, Review
from dashboard.pages.week.entries import HURT, MEASURED, PARTS, Entry, talked_sentence
from dashboard.pages.week.faults import finding, sentences, top_faults
from dashboard.pages.week.last_visits import last_visits
from dashboard.pages.week.paper import review_html
from dashboard.pages.week.safety_lines import safety_lines
from dashboard.pages.week.since import since_last_monday, weeks_words
from dashboard.text.catalogue import _, keeping_language, mark
from dashboard.text.markdown import markdown
from warehouse.access import Reader
from warehouse.errors import UnderfootError

OPEN = "open"
KEY = mark("Small pictures: the last visits, with the target in green. Beside a name: the coach.")


def show(reader: Reader) -> None:
    """The page."""
    name, filters = st.columns([3, 1], vertical_alignment="center")
    with name:
        st.title(_("This week"), anchor=False)
    whole = content.review(reader)
    if whole is None:
        raise UnderfootError(_(content.NO_REVIEW))
    with filters:
        entries = _chosen(reader, whole)
    layout.aside(whole.about)
    first = content.people_first(entries)
    people, academy = st.columns([1.7, 1], gap="medium")
    with people, st.container(gap="xsmall"):
        _pain(reader, [entry for entry in entries if entry.part == HURT])
        st.header(_("See these first"), anchor=False)
        if not first:
            layout.say(_(content.NOTHING_FIRST))
        actions = Actions(reader)
        for entry in first:
            _entry(entry, actions.propose(entry))
        if first:
            layout.aside(_(KEY))
    with academy, st.container(key="aside", gap="small"):
        _since(reader, entries)
        _faults(reader)
        _to_fix(reader, entries, whole.devices)
    for part in whole.parts(entry for entry in entries if entry not in first):
        if part.code != HURT:
            _part(part)
    for sentence in (whole.chance, *whole.cautions):
        layout.aside(sentence)
    _save(reader, whole)


def _pain(reader: Reader, hurt: Iterable[Entry]) -> None:
    """Open discomfort, then what else is not safe; nothing where there is neither."""
    hurt, lines = list(hurt), safety_lines(reader)
    if not hurt and not lines:
        return
    st.header(PARTS[HURT], anchor=False)
    for entry in hurt:
        _entry(entry)
    for line in lines:
        with st.container(key=f"line-{line.student}-{line.sentence}", gap=None):
            navigation.link("student", f"{line.name} →", student=line.student)
            st.text(line.sentence)


def _since(reader: Reader, entries: tuple[Entry, ...]) -> None:
    st.header(_("Since last Monday"), anchor=False)
    for line in since_last_monday(reader, entries).lines or (_("Nothing new, nothing open, nothing gone."),):
        layout.aside(line)


def _faults(reader: Reader) -> None:
    with layout.part():
        rows = top_faults(reader)
        st.header(finding(rows), anchor=False)
        for fault, sentence in sentences(rows):
            st.write(markdown(":small[**{fault}**: {sentence}]", fault=fault, sentence=sentence))


def _to_fix(reader: Reader, entries: Iterable[Entry], devices: Sequence[str]) -> None:
    """Deliveries that did not load and devices that read off, by who can fix them."""
    owners = content.to_fix(entries)
    if owners or devices:
        st.header(_("Data to fix"), anchor=False)
    if owners:
        layout.aside(" ".join(owners))
        navigation.link("deliveries", _("Fix on Deliveries →"))
    for device in devices:
        layout.aside(device)
    if devices and reader.viewer.role == "head_coach":
        navigation.link("quality", _("Open Data quality →"))


def _part(part: Part) -> None:
    st.header(part.heading, anchor=False)
    if part.lead:
        st.write(part.lead)
    if not part.entries:
        layout.say(part.nothing)
    elif not part.more or st.toggle(part.more, key=f"all-{part.code}"):
        for entry in part.entries:
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
def _entry(entry: Entry, action: str = "") -> None:
    """One signal in a line of the list; only its own line runs again when it is touched."""
    reader = gate.reader()
    picture = last_visits(reader, entry)
    with st.container(key=f"line-{entry.signal}", gap="small"):
        if layout.narrow():
            _said(entry, reader, action)
            with st.container(horizontal=True, vertical_alignment="center"):
                if picture:
                    st.drawing(*picture)
                _tick(entry, reader)
        else:
            seen, said, done = st.columns([1.3, 5, 1.4], vertical_alignment="center", gap="small")
            with seen:
                if picture:
                    st.drawing(*picture)
            with said:
                _said(entry, reader, action)
            with done:
                _tick(entry, reader)
        _talked(entry, reader)


def _said(entry: Entry, reader: Reader, action: str) -> None:
    about = [entry.coach_name if reader.viewer.role == "head_coach" else "", weeks_words(entry.weeks)]
    about = about if action else [entry.word, *about]
    with st.container(gap=None):
        with st.container(horizontal=True, vertical_alignment="center", gap="small"):
            _link(entry)
            st.text(" · ".join(filter(None, about)))
        st.text(entry.brief if action else entry.short)
        if action:
            layout.lead("→", action)


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
        _("Two pages for the staff meeting, People and Academy, with boxes to tick; or the list as a table.")
    )
    name = _("week {week}").format(week=whole.week)
    with st.container(horizontal=True):
        layout.save_to_print(
            lambda: review_html(reader, whole), f"review-{whole.week}", reader.settings.paper
        )
        if whole.entries:
            layout.save_table(whole.rows(), name)
