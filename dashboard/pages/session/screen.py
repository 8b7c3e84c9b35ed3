"""New session: what was brought from the lesson, looked at before it is kept, and what became of it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Literal

from dashboard import elements as st
from dashboard import gate, inbox, layout, navigation, readers
from dashboard.pages.session import content, films, found_swings, questions, saving, shared
from dashboard.pages.session.content import LOADED, REFUSED, WAITING, Files, Opened, Visit
from dashboard.pages.session.questions import Asked, Choice
from dashboard.pages.session.saving import Part, Saved
from dashboard.pages.today import content as today
from dashboard.queries import by_eye, people
from dashboard.text.catalogue import Words, _
from dashboard.text.cautions import MINORS
from dashboard.text.labels import PACES
from dashboard.text.numbers import capitalized, on
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.preview import Preview
from warehouse.vocabulary import DEVICE_KINDS

POLL_S = 0.5
MOST_BUTTONS = 4  # answers without drawings beyond this are a list
BY_ROSTER = ("no_handedness", "unit")  # reasons that a foot length or a hand in the roster settles
NEW = ""  # the choice of a device that is not in the settings yet
KINDS = Words({
    "pressure_mat": "a pressure mat", "force_plates": "force plates", "insoles": "insoles",
    "sensor_grid": "a sensor grid",
})  # fmt: skip


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "New session", today.order)
    student = person["student"]
    st.title(_("New session with {name}").format(name=person["name"]), anchor=False)
    layout.discomfort(reader, student)
    if stops := content.stops(reader, student):
        st.warning(stops)
        _who_may(reader, "people", _("Record the consent →"), student)
    saved = st.session_state.setdefault("session-saved", {})
    if student in saved:
        waits = any(
            content.became(reader, session, saved[student].folder.name) == WAITING
            for _of, session in saved[student].sessions
        )
        gate.fragment(_follow, every_s=POLL_S if waits else None)(student, saved[student])
        return
    visit = _visit(reader, student)
    files = _files(student)
    if files:
        with layout.part():
            _understood(reader, visit, files)
    if reader.is_minor(student):
        layout.aside(_(MINORS))


def _who_may(reader: Reader, page: str, label: str, student: str) -> None:
    """A link for who may do it, else whom to ask."""
    if reader.viewer.role == "head_coach":
        navigation.link(page, label, student=student)
    else:
        layout.aside(_("Ask the head coach, who can do that on the People page."))


def _visit(reader: Reader, student: str) -> Visit:
    """Club, pace and device: as last time, each one tap to change."""
    with st.container(horizontal=True):
        club = st.selectbox(_("Club"), by_eye.known_clubs(reader, student), key=f"club-{student}")
        pace = st.selectbox(
            _("Pace"), list(PACES), index=2, format_func=lambda code: PACES[code], key=f"pace-{student}"
        )
    known = content.devices(reader, student)
    device = st.selectbox(
        _("Device"),
        [*known, NEW],
        format_func=lambda name: name or _("A new device"),
        key=f"device-{student}",
    )
    kind = ""
    if device == NEW:
        with st.container(horizontal=True):
            kind = st.selectbox(
                _("What it is"), DEVICE_KINDS, format_func=lambda code: KINDS[code], key=f"kind-{student}"
            )
            typed = st.text_input(
                _("Your name for it"), KINDS[kind].split()[-1], key=f"name-{student}-{kind}"
            )
        device = content.device_name(typed) or content.device_name(kind)
        device = device if device not in known else f"{device}-{len(known) + 1}"
    mass = st.number_input(
        _("Weight today, kg (may be left empty)"), 15.0, 250.0, content.body_mass_kg(reader, student),
        step=1.0, format="%.0f", key=f"mass-{student}",
    )  # fmt: skip
    return Visit(student, club, pace, device, kind, _started_at(reader, student), mass)


def _started_at(reader: Reader, student: str) -> datetime:
    """When it began: with today's lesson, else now, unless somebody says another day or time."""
    usual = st.session_state.setdefault(f"began-{student}", content.began(reader, student))
    with st.expander(_("When: {day}, {time}").format(day=on(usual.date()), time=f"{usual:%H:%M}")):
        day = st.date_input(_("Day"), usual.date(), key=f"day-{student}", format="DD/MM/YYYY")
        time = st.time_input(_("Start time"), usual.time(), key=f"time-{student}", step=300)
    return datetime.combine(day, time, tzinfo=reader.settings.zone)


def _files(student: str) -> Files:
    found = st.file_uploader(
        _("Exports of the swings, films of them, and a photo of your notes to keep with them"),
        accept_multiple_files=True,
        key=f"brought-{student}",
    )
    return tuple((file.name, file.getvalue()) for file in found)


def _understood(reader: Reader, visit: Visit, files: Files) -> None:
    """What the files would be read as, what has to be asked, the swings in them, and the button."""
    opened, visit = _opened(reader, visit, files)
    found = opened.preview
    for reason, sentence in found.problems:
        if reason == "no_handedness" and reader.viewer.role == "head_coach":
            continue  # it is asked
        st.error(sentence)
        if reason in BY_ROSTER:
            _who_may(reader, "people", _("Fill it in on the People page →"), visit.student)
    for name, why in found.left_out.items():
        st.warning(_("{file} is left out. {why}").format(file=name, why=why))
    if found.explained and found.explained["columns"]:
        _columns(found, opened=bool(found.questions or found.doubts))
    for doubt in found.doubts:
        st.error(f"{capitalized(doubt)}.")
    if found.questions or found.doubts or found.problems:
        return
    if not found.swings:
        layout.say(_("No swings were found in these files."))
        if found.films:
            navigation.link("film", _("Mark a film →"), student=visit.student)
        return
    if len(found.shares) > 1 and shared.is_several(visit.student, found.shares):
        parts = shared.parts(reader, visit, files, found)
        if found.films:
            layout.aside(_("The films of a recording of several people are marked later, on Mark a film."))
    else:
        said = found_swings.choose(reader, found, visit.student)
        if found.films:
            visit = replace(visit, films=films.choose(reader, visit, found))
        parts = [(visit, opened, said)]
    if found.recipe is not None:
        layout.aside(
            _(
                "How to read these files is kept as the recipe of {device} and not asked again. A later "
                "export in another layout is stopped."
            ).format(device=visit.device)
        )
    ahead = inbox.lies_ahead(visit.started_at)
    if ahead:
        st.error(_("The session would begin in the future; correct its day or time."))
    disabled = ahead or not parts or not all(opened.can_be_saved for _visit, opened, _said in parts)
    if st.button(_("Save"), type="primary", width="stretch", key=f"save-{visit.student}", disabled=disabled):
        _save(reader, visit.student, parts)


def _opened(reader: Reader, visit: Visit, files: Files) -> tuple[Opened, Visit]:
    """Ask until nothing is open any more; what was read before is not read again."""
    while True:
        opened = found_swings.read(reader, visit, files)
        found = [questions.asked(q) for q in opened.preview.questions if q["key"] not in visit.answers]
        given = {asked.key: answer for asked in found if (answer := _ask(visit, asked)) is not None}
        hand = None
        if visit.handed is None and "no_handedness" in opened.preview.reasons:
            hand = _hand(reader, visit)
        if not given and hand is None:
            return opened, visit
        visit = replace(visit, answers={**visit.answers, **given}, handed=hand or visit.handed)


def _hand(reader: Reader, visit: Visit) -> str | None:
    """Which hand the student plays with: the roster's, so a head coach says it."""
    if reader.viewer.role != "head_coach":
        return None
    return _ask(visit, questions.hand_question(people.student(reader, visit.student)["name"]))


def _ask(visit: Visit, asked: Asked) -> str | None:
    """Put one question; its answer, or None as long as there is none."""
    key = f"answer-{asked.key}-{visit.device}-{visit.student}"
    with st.container(border=True):
        st.write(asked.words)
        if not asked.choices:
            rate = st.number_input(_("Samples per second"), 1.0, 10_000.0, None, key=key)
            return None if rate is None else f"{rate:g}"
        if len(asked.choices) > MOST_BUTTONS and not any(choice.drawing for choice in asked.choices):
            labels = {choice.code: choice.label for choice in asked.choices}
            picked = st.selectbox(
                _("Answer"), list(labels), index=None, format_func=lambda code: labels[code], key=key,
                placeholder=_("Choose"),
            )  # fmt: skip
            return None if picked is None else str(picked)
        with st.container(horizontal=True, gap="small"):
            for choice in asked.choices:
                _choice(choice, key)
    return st.session_state.get(key)


def _choice(choice: Choice, key: str) -> None:
    """One answer: its drawing, and its button below."""
    with st.container(width=questions.WIDTH, gap="small"):
        if choice.drawing:
            st.drawing(choice.drawing, choice.label)
        kind: Literal["primary", "secondary"] = (
            "primary" if st.session_state.get(key) == choice.code else "secondary"
        )
        if st.button(choice.label, key=f"{key}-{choice.code}", type=kind, width="stretch"):
            st.session_state[key] = choice.code
            st.rerun()


def _columns(found: Preview, *, opened: bool) -> None:
    """What each column is taken for: open while something is asked, one tap away otherwise."""
    table = content.columns(found)
    with st.expander(_("What each of the {n} columns is").format(n=len(table)), expanded=opened):
        layout.table(table)


def _save(reader: Reader, student: str, parts: Sequence[Part]) -> None:
    """Deliver it once; whatever is pressed after that only shows what became of it.

    Streamlit ends this run at its next use when Save is tapped again meanwhile, so it is noted without one.
    """
    kept = st.session_state["session-saved"]
    try:
        kept[student] = saving.save(reader, parts)
    except (UnderfootError, OSError) as error:
        st.error(_("Not saved. {error}").format(error=error))
        return
    for visit, _opened, _said in parts:
        st.session_state.pop(f"opened-{visit.student}", None)
    st.rerun()


def _follow(student: str, saved: Saved) -> None:
    """What became of what was saved: it waits, it is loaded, or what stops it."""
    reader = gate.reader()
    if readers.newly_published(reader.home, "session"):
        st.rerun(scope="app")
    states = [content.became(reader, session, saved.folder.name) for _of, session in saved.sessions]
    if WAITING not in states and st.session_state.get("session-waits"):
        st.session_state["session-waits"] = False
        st.rerun(scope="app")  # and look no further
    if WAITING in states:
        st.session_state["session-waits"] = True
        layout.say(_("Saved. It is being loaded; this page shows it in a few seconds."))
        return
    names = dict(people.students(reader).select("student", "name").iter_rows())
    for (of, session), became in zip(saved.sessions, states, strict=True):
        if len(saved.sessions) > 1:
            st.header(names[of], anchor=False)
        _became(reader.anew(), of, session, became)
    if st.button(_("Another session"), key=f"another-{student}"):
        for key in [key for key in st.session_state if str(key).endswith(f"-{student}")]:
            del st.session_state[key]
        st.session_state["session-saved"].pop(student, None)
        st.rerun(scope="app")


def _became(reader: Reader, student: str, session: str, became: str) -> None:
    """What became of one student's session, and where to go on."""
    stopped = content.refused(reader, session)
    if became == LOADED:
        st.success(_("Saved and loaded."))
        try:
            said, section = content.against_last_time(reader, session, narrow=layout.narrow())
            st.write(said)
            layout.section(section, place=session)
        except UnderfootError as error:
            layout.say(str(error))
        if without := content.without_films(reader, session):
            st.warning(without)
            navigation.link("film", _("Mark a film →"), student=student)
    elif became == REFUSED:
        st.error(_("Saved, but it could not be loaded."))
    else:
        layout.say(_("Saved. It had been loaded before; nothing in it was new."))
    for sentence in stopped:
        st.text(sentence)
    if stopped:
        navigation.link("deliveries", _("Fix it on the Deliveries page →"))
    with st.container(horizontal=True):
        navigation.link("student", _("The student's page →"), student=student)
        navigation.link("notes", _("Write a note →"), student=student)
