"""The week's signals as a work list: each with its reason, its doubt, and a tick once talked about."""

from datetime import datetime

import streamlit as st

from dashboard import frame, layout, readers
from dashboard.downloads import file_name
from dashboard.evidence import evidence
from dashboard.pages.week import talked
from dashboard.pages.week.content import (
    DISCOMFORT_KIND,
    KINDS,
    NOTHING,
    TALK,
    THIN,
    WELL,
    Entry,
    Review,
    as_rows,
    review,
    talked_words,
)
from dashboard.pages.week.paper import review_html
from dashboard.queries import people
from dashboard.text.cautions import DISCOMFORT
from dashboard.text.numbers import count, on
from warehouse.access import Reader
from warehouse.errors import UnderfootError

ALL = "all"
OPEN = "open"
FIRST, FIRST_TALKS = 6, 10  # entries of a part shown at once
MEASURED = {"slipping", "improving", "outside_band"}
PICTURED = MEASURED | {"new_fault", "eye_and_plate"}


def show(reader: Reader) -> None:
    """The page."""
    st.title("This week", anchor=False)
    whole = review(reader)
    if whole is None:
        layout.empty(
            "No week has been reviewed yet.",
            "Drop deliveries on the Deliveries page; once sessions are loaded, run: underfoot build",
        )
        return
    layout.aside(f"Week of {on(whole.week)}, as of the newest session on {on(whole.as_of)}. {whole.chance}")
    entries = _chosen(reader, whole)
    for title, lead in ((TALK, ""), (WELL, whole.well), (THIN, whole.thin)):
        part = [entry for entry in entries if KINDS[entry.kind][1] == title]
        st.header(_heading(title, part))
        if lead:
            st.write(lead)
        if not part:
            layout.say(_nothing(title, whole, entries))
        for entry in _first(title, part):
            _entry(entry, reader)
    _take_along(reader, whole)


def _chosen(reader: Reader, whole: Review) -> list[Entry]:
    """What the coach and tick filters leave; a coach has only their own students anyway."""
    shown = list(whole.entries)
    left, right = st.columns(2)
    with left:
        ticks = layout.choose("Show", {ALL: "Everything", OPEN: "Not talked about yet"}, "show", default=ALL)
    coaches = {entry.coach: entry.coach_name for entry in shown if entry.coach and entry.coach_name}
    if reader.viewer.role == "head_coach" and len(coaches) > 1:
        named = dict(sorted(coaches.items(), key=lambda pair: pair[1]))
        with right:
            coach = layout.choose("Coach", {ALL: "All coaches", **named}, "coach")
        shown = [entry for entry in shown if coach in (ALL, entry.coach)]
    if ticks == OPEN:
        shown = [entry for entry in shown if not (entry.ticked or _said(reader, entry))]
    return shown


def _first(title: str, part: list[Entry]) -> list[Entry]:
    """Of each part the first few, until all are asked for; what hurts is never behind the switch."""
    few = FIRST
    if title == TALK:
        hurting = [place for place, entry in enumerate(part) if entry.kind == DISCOMFORT_KIND]
        few = max(FIRST_TALKS, *(place + 1 for place in hurting), 0)
    if len(part) <= few:
        return part
    left = f"Show all {len(part)} ({len(part) - few} more)"
    return part if st.toggle(left, key=f"all-{title}") else part[:few]


def _heading(title: str, part: list[Entry]) -> str:
    students = len({entry.student for entry in part if entry.student})
    if title != TALK or students in (0, len(part)):
        return f"{title} ({len(part)})" if part else title
    return f"{title} ({len(part)}, of {count(students, 'student')})"


def _nothing(title: str, whole: Review, entries: list[Entry]) -> str:
    hidden = len(whole.part(title)) - sum(KINDS[entry.kind][1] == title for entry in entries)
    return f"Nothing here with this choice; {hidden} in all." if hidden else NOTHING[title]


@st.fragment
def _entry(entry: Entry, reader: Reader) -> None:
    """One signal; only its own box runs again when it is touched."""
    with st.container(border=True):
        where = [entry.word, entry.clubs, entry.coach_name if reader.viewer.role == "head_coach" else ""]
        st.markdown(f"**{_plain(entry.name)}** · {' · '.join(part for part in where if part)}")
        st.text(" ".join(part for part in (entry.sentence, entry.kindred) if part))
        if entry.kind == DISCOMFORT_KIND:
            st.warning(DISCOMFORT)
        with st.container(horizontal=True, vertical_alignment="center", gap="medium"):
            _link(entry)
            drawn = (
                entry.kind in PICTURED
                and entry.student is not None
                and entry.subject is not None
                and st.toggle("Show the picture", key=f"picture-{entry.signal}")
            )
            if entry.student is not None:
                _tick(entry, reader)
        _told(entry, reader)
        if drawn:
            _picture(entry, reader)


def _plain(name: str) -> str:
    """A name as it is: what Markdown would take for a mark is escaped."""
    return "".join(f"\\{letter}" if letter in "\\`*_{}[]()#+-.!~$:|<>" else letter for letter in name)


def _link(entry: Entry) -> None:
    if entry.kind == "refused":
        frame.link("deliveries", "Mend it on Deliveries →")
    elif entry.student is not None:
        measure = entry.subject if entry.kind in MEASURED else None
        choices = {"student": entry.student, "measure": measure, "clubs": entry.family}
        address = {name: code for name, code in choices.items() if code is not None}
        frame.link("student", f"Open {entry.name}'s page →", **address)


def _tick(entry: Entry, reader: Reader) -> None:
    if not entry.ticked and _said(reader, entry) is None:
        key = f"talked-{entry.signal}"
        st.checkbox("Talked about", key=key, on_change=_keep, args=(entry, reader, key))


def _keep(entry: Entry, reader: Reader, key: str) -> None:
    """Write the tick to the inbox first; only then is it shown as kept."""
    try:
        talked.keep(readers.home(), reader.viewer, str(entry.student), entry.signal)
    except (UnderfootError, OSError) as error:
        st.session_state[key] = False
        st.session_state[f"{key}-failed"] = f"Not kept. {error}"
        return
    st.session_state.pop(f"{key}-failed", None)
    today = datetime.now(reader.settings.zone).date()
    kept = st.session_state.setdefault("talked", {})
    kept[reader.viewer.person, entry.signal] = talked_words(reader.viewer.display_name, today)


def _said(reader: Reader, entry: Entry) -> str | None:
    """What was ticked off in this visit and may not be loaded yet."""
    kept: dict[tuple[str, str], str] = st.session_state.get("talked", {})
    return kept.get((reader.viewer.person, entry.signal))


def _told(entry: Entry, reader: Reader) -> None:
    failed = st.session_state.get(f"talked-{entry.signal}-failed")
    now = _said(reader, entry)
    if failed:
        st.error(failed)
    if now:
        layout.aside(f"☑ {now} Kept.")
    elif entry.talked:
        layout.aside(f"☑ {entry.talked}" if entry.ticked else f"{entry.talked} It is back since.")


def _picture(entry: Entry, reader: Reader) -> None:
    when = next(iter(people.seasons(reader)), None)
    student = str(entry.student)
    family = entry.family or next(iter(people.families(reader, when, student)), None)
    drawn = (
        when
        and family
        and evidence(reader, student, str(entry.subject), family, when, narrow=layout.narrow())
    )
    if not drawn:
        layout.say(f"Nothing is measured of this any more; open {entry.name}'s page.")
        return
    layout.picture(drawn.chart, drawn.words, drawn.rows, place=entry.signal)
    layout.aside(drawn.key)


def _take_along(reader: Reader, whole: Review) -> None:
    st.header("Take it along")
    st.write(
        f"{count(len(whole.entries), 'signal')} of this week, with boxes to tick: to print for the staff "
        "meeting, or as a table."
    )
    with st.container(horizontal=True):
        layout.save(
            "Save to print (HTML)",
            lambda: review_html(reader),
            file_name(f"week {whole.week}", "html"),
            "text/html",
        )
        if whole.entries:
            layout.save_table(as_rows(whole), f"week {whole.week}")
