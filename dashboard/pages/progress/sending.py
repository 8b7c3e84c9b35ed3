"""What a family sends from the progress page: a practice in one tap, and a film of the feet for the coach."""

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from typing import Any

from dashboard import elements as st
from dashboard import family, layout, safety
from dashboard.pages.progress.content import Focus
from dashboard.queries import by_eye, people
from dashboard.text.catalogue import _
from dashboard.text.cautions import CAMERA, IF_IT_HURTS, MINORS
from dashboard.text.labels import AREAS, FELT
from dashboard.text.numbers import capitalized
from dashboard.text.sentences import AT_PACE
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.family import MOST_FILM_BYTES
from warehouse.vocabulary import FAMILY, FILM_ENDINGS, PACES


def practice(reader: Reader, person: Mapping[str, Any], focus: Focus | None) -> None:
    """The form that logs a practice; nothing for staff, who write a note, or where no drill is set."""
    if reader.viewer.role not in FAMILY:
        return
    choice = family.practice_choice(reader, person)
    if choice is None:
        return
    student, codes = person["student"], list(choice.drills)
    usual = next((k for k, code in enumerate(codes) if focus and choice.drills[code] == focus.drill), 0)
    pace = focus.pace.pace if focus and focus.pace else choice.pace
    reps = focus.pace.reps if focus and focus.pace else choice.reps
    with st.popover(_("I practised")), st.form("log-practice", border=False):
        drill = st.selectbox(
            _("What you practised"), codes, index=usual, format_func=choice.drills.__getitem__,
            key="practice-drill",
        )  # fmt: skip
        at_pace = st.selectbox(
            _("At"), PACES, index=PACES.index(pace), format_func=AT_PACE.__getitem__, key="practice-pace"
        )
        times = st.number_input(_("How many times"), 1, family.MOST_REPS, reps, key="practice-reps")
        day = _day(reader, _("On"), "practice-day")
        st.write(_("How did it feel? One tap saves it."))
        with st.container(horizontal=True):
            taps = {
                felt: st.form_submit_button(capitalized(words), key=f"practice-felt-{felt}")
                for felt, words in FELT.items()
            }
        for sentence in (*safety.swing_sentences(safety.swing_load(reader, person)), _(IF_IT_HURTS)):
            layout.aside(sentence)
    felt = next((felt for felt, tapped in taps.items() if tapped), None)
    if felt is not None:
        _send(
            lambda: family.log_practice(reader, student, drill, at_pace, times, int(felt), day),
            _("Saved. It shows here once it is loaded."),
        )


def discomfort(reader: Reader, person: Mapping[str, Any]) -> None:
    """The form that says to the coach what hurts; nothing for staff, who write a note."""
    student = person["student"]
    if not reader.may_write("discomfort", student):
        return
    with st.popover(_("Something hurts?")), st.form("hurts", clear_on_submit=True, border=False):
        area = st.selectbox(
            _("Where"), list(AREAS), index=None, format_func=AREAS.__getitem__, key="hurts-area"
        )  # fmt: skip
        words = st.text_input(_("What happened"), max_chars=family.MOST_WORDS, key="hurts-words")
        tapped = st.form_submit_button(_("Tell my coach"), key="hurts-send")
    if tapped:
        _send(
            lambda: family.report_discomfort(reader, student, area or "", words or ""),
            _("Sent. Your coach sees it before the next lesson. Do no drills until you have talked."),
        )


def film(reader: Reader, person: Mapping[str, Any]) -> None:
    """The form that sends a film of the feet, and what became of those sent before."""
    student = person["student"]
    before = family.film_sentences(reader, student)
    sends = reader.viewer.role in FAMILY
    if not sends and not before:
        return
    st.header(_("Films for your coach"), anchor=False)
    if sends:
        _film_form(reader, student)
    for sentence in before:
        st.write(sentence)


def _film_form(reader: Reader, student: str) -> None:
    if not people.may_film(reader, student):
        layout.say(
            _("To send a film of your feet, the academy needs a consent to film; ask your coach about it.")
        )
        return
    with st.expander(_("Send a film of your feet")):
        layout.lead(_("Before you film."), _(MINORS))
        for sentence in CAMERA:
            st.write(_(sentence))
        with st.form("send-film", clear_on_submit=True, border=False):
            sent = st.file_uploader(
                _("One swing, the feet only"), type=[ending.removeprefix(".") for ending in FILM_ENDINGS],
                max_upload_size=MOST_FILM_BYTES >> 20, key="film-file",
            )  # fmt: skip
            club = st.selectbox(_("Club"), by_eye.known_clubs(reader, student), key="film-club")
            day = _day(reader, _("Filmed on"), "film-day")
            layout.aside(
                _(
                    "Only the coaches of {name} can see it. It waits until one of them has looked at it, and "
                    "is then removed; what they marked in it stays."
                ).format(name=people.student(reader, student)["name"])
            )
            tapped = st.form_submit_button(_("Send it to the coach"), key="film-send")
        data = None if sent is None else sent.getvalue()
        if tapped and data is None:
            st.error(_("Choose a film first."))
        elif tapped and data is not None:
            _send(
                lambda: family.send_film(reader, student, data, club, day),
                _("Sent. It is waiting for your coach."),
            )


def _day(reader: Reader, label: str, key: str) -> date:
    today = reader.settings.today
    first = today - timedelta(days=family.DAYS_BACK)
    chosen: date = st.date_input(label, today, min_value=first, max_value=today, format="DD/MM/YYYY", key=key)
    return chosen


def _send(send: Callable[[], object], done: str) -> None:
    """Send something; says that it is kept only once it is on disk."""
    try:
        send()
    except (UnderfootError, OSError) as error:
        st.error(_("Not saved. {error}").format(error=error))
    else:
        st.success(done)
