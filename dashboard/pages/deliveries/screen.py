"""Deliveries: drop one here; what loaded, what was refused and how to fix it, which swings are left out."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from dashboard import elements as st
from dashboard import gate, layout, navigation, readers
from dashboard.pages.deliveries import content, corrections, whose
from dashboard.pages.deliveries.content import Dropped, Refused
from dashboard.pages.deliveries.whose import Waiting
from dashboard.pages.session import content as session_content
from dashboard.text.catalogue import _
from dashboard.text.cautions import CLEAR_SPACE, MINORS
from dashboard.text.numbers import count
from warehouse.access import Reader
from warehouse.deliverer import MARK
from warehouse.errors import UnderfootError

POLL_S = 2.0  # how often the page looks into the inbox while something waits there
Given = tuple[str, str, str, str, str]  # file, student, their name, session, folder in the inbox
LIKELY_SHOWN = 3  # owners of a recording with a button of their own


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Deliveries"), anchor=False)
    _whose(reader)
    _drop(reader)
    gate.fragment(_follow, every_s=POLL_S if content.waiting(reader.home) else None)()
    _films(reader)
    _swapped(reader)
    with layout.part(_("Couldn't load: how to fix it")):
        _refused(reader)
    with layout.part(_("Loaded")):
        layout.table(content.loaded(reader))
    with layout.part(_("Swings left out or marked")):
        rows, sentence = content.left_out(reader)
        st.write(sentence)
        layout.table(rows)
    layout.aside(f"{_(MINORS)} {_(CLEAR_SPACE)}")


def _whose(reader: Reader) -> None:
    """Recordings that wait for whose they are, one tap each, and what became of those that were given."""
    found, given = whose.waiting(reader), st.session_state.get("given", [])
    if not found and not given:
        return
    st.header(_("Whose is this?"), anchor=False)
    became = st.container()
    for one in found:
        with st.container(border=True):
            layout.lead(one.file, one.about)
            with st.container(horizontal=True):
                for owner in one.owners[:LIKELY_SHOWN]:
                    said = f"{owner.name} ({owner.because})" if owner.because else owner.name
                    if st.button(said, key=f"give-{one.delivery}-{owner.student}"):
                        _give(reader, one, owner.student, owner.name)
            _somebody_else(reader, one)
            if reader.viewer.role == "head_coach" and st.button(
                _("Discard it for good"), key=f"drop-{one.delivery}", type="tertiary"
            ):
                _discard(reader, one.delivery, one.file)
    if given:  # after the buttons, as it may run the page again
        with became:
            follow = POLL_S if any(_is_waiting(reader, one) for one in given) else None
            gate.fragment(_given, every_s=follow)()


def _somebody_else(reader: Reader, one: Waiting) -> None:
    names = {owner.student: owner.name for owner in one.owners[LIKELY_SHOWN:]} | whose.others(reader, one)
    if not names:
        return
    with st.container(horizontal=True, vertical_alignment="bottom"):
        student = st.selectbox(
            _("Somebody else"), list(names), index=None, format_func=lambda code: names[code],
            key=f"else-{one.delivery}", placeholder=_("Choose"),
        )  # fmt: skip
        if student is not None:
            said = _("It is {name}'s").format(name=names[student])
            if st.button(said, key=f"give-{one.delivery}-else", type="primary"):
                _give(reader, one, student, names[student])


def _give(reader: Reader, one: Waiting, student: str, name: str) -> None:
    try:
        session, folder = whose.give(reader, one.delivery, student)
    except (UnderfootError, OSError) as error:
        st.error(_("Not saved. {error}").format(error=error))
        return
    st.session_state.setdefault("given", []).append((one.file, student, name, session, folder.name))
    st.rerun()


def _is_waiting(reader: Reader, given: Given) -> bool:
    _file, _student, _name, session, folder = given
    return session_content.became(reader, session, folder) == session_content.WAITING


def _given() -> None:
    """What became of the recordings that were given to somebody in this visit."""
    reader = gate.reader()
    if readers.newly_published(reader.home, "given"):
        st.rerun(scope="app")
    for file, student, name, session, folder in st.session_state.get("given", []):
        state = session_content.became(reader, session, folder)
        if state == session_content.WAITING:
            layout.say(_("{file} is {name}'s. It is being loaded.").format(file=file, name=name))
        elif state == session_content.LOADED:
            st.success(_("{file} is loaded.").format(file=file))
            navigation.link("student", _("{name}'s page →").format(name=name), student=student)
        else:
            for sentence in session_content.refused(reader.anew(), session):
                st.error(sentence)


def _drop(reader: Reader) -> None:
    """The form that takes a delivery in."""
    st.header(_("Drop a delivery here"), anchor=False)
    with st.form("drop", clear_on_submit=True, border=True):
        folder = st.file_uploader(_("A session folder"), accept_multiple_files="directory", key="drop-folder")
        loose = st.file_uploader(content.loose_files(reader), accept_multiple_files=True, key="drop-files")
        corrects = st.checkbox(_("It corrects sessions that are filed already"), key="drop-corrects")
        if not st.form_submit_button(_("Save this delivery")):
            return
    files = [(file.name, file.getvalue()) for file in [*folder, *loose]]
    _keep(lambda: content.deliver(reader, files, corrects=corrects), count(len(files), "file"))


def _keep(put: Callable[[], Path], what: str) -> bool:
    """Keep a delivery and remember it; says that it is kept only once it is on disk."""
    try:
        kept = put()
    except (UnderfootError, OSError) as error:
        st.error(_("Not saved. {error}").format(error=error))
        return False
    names = tuple(path.name for path in kept.iterdir() if path.name != MARK)
    st.session_state.setdefault("dropped", {})[kept.name] = Dropped(
        names, what, datetime.now(UTC).replace(tzinfo=None)
    )
    st.success(_("Saved: {what} ({names}) in the inbox.").format(what=what, names=content.names_of(names)))
    return True


def _follow() -> None:
    """What is on its way; the page runs again once something new is published."""
    reader = gate.reader()
    if readers.newly_published(reader.home, "deliveries"):
        st.rerun(scope="app")
    found = content.on_its_way(reader, reader.home, st.session_state.get("dropped", {}))
    if found is None:
        return
    st.header(_("On its way"), anchor=False)
    st.progress(found.share, text=found.progress)
    for sentence in found.outcomes:
        st.write(sentence)
    if found.waiting:
        layout.say(found.waiting)


def _films(reader: Reader) -> None:
    waiting = content.films_sent(reader)
    if waiting:
        st.header(_("Films that wait for you"), anchor=False)
    for student, sentence in waiting:
        navigation.link("film", sentence, student=student)


def _swapped(reader: Reader) -> None:
    questions = content.swapped_feet(reader)
    if questions:
        st.header(_("Were the feet swapped?"))
    for question in questions:
        st.warning(question)


def _refused(reader: Reader) -> None:
    found, older = content.refused(reader, reader.home)
    st.write(
        _(
            "Refused files are kept; films of minors only until their session is in. Fix what the "
            "sentence says: drop the corrected file at its entry here, or the whole folder above. Good "
            "swings of the same session are already in."
        )
    )
    for refused in found:
        with st.container(border=True):
            st.write(refused.heading)
            for sentence in refused.sentences:
                st.text(sentence)
            if refused.no_fix:
                layout.aside(refused.no_fix)
            else:
                _fix(reader, refused)
    if older:
        layout.aside(older)


def _fix(reader: Reader, refused: Refused) -> None:
    """Buttons of one refused delivery: a corrected file, or another try as it is."""
    key = f"{refused.delivery}-{refused.session}"
    with st.popover(_("Fix it, or try again"), width="content"):
        st.write(
            _("Kept: {names}. Save one, correct it, and drop it under its own name.").format(
                names=content.names_of(list(refused.kept))
            )
        )
        for name, path in list(refused.kept.items())[: content.NAMED]:
            file = f"{refused.delivery[:8]}-{name.replace('/', '-')}"
            layout.save(_("Save {file}").format(file=name), path.read_bytes, file, "text/plain")
        files = st.file_uploader(_("Corrected files"), accept_multiple_files=True, key=f"correct-{key}")
        with_files = st.button(
            _("Deliver with these files"), key=f"with-{key}", type="primary", disabled=not files
        )
        if with_files:
            _again(reader, refused, [(file.name, file.getvalue()) for file in files])
        if st.button(_("Try again as it is"), key=f"again-{key}"):
            _again(reader, refused, [])
        if refused.may_be_dropped and st.button(_("Discard it for good"), key=f"drop-{key}"):
            _discard(reader, refused.delivery, refused.what)


def _discard(reader: Reader, delivery: str, what: str) -> None:
    try:
        corrections.drop(reader, delivery, what)
    except (UnderfootError, OSError) as error:
        st.error(_("Not discarded. {error}").format(error=error))
        return
    st.toast(_("{what} goes from this list in a moment.").format(what=what))
    st.rerun()


def _again(reader: Reader, refused: Refused, corrected: Sequence[tuple[str, bytes]]) -> None:
    def put() -> Path:
        return corrections.deliver_again(reader, refused.delivery, refused.what, corrected)

    if _keep(put, refused.what):
        st.toast(_("Saved: {what} is on its way again.").format(what=refused.what))
        st.rerun()
