"""Mark a film: an ordinary phone film of the feet, without tape, gone through by eye."""

from collections.abc import Mapping
from typing import Any

from dashboard import elements as st
from dashboard import layout, navigation
from dashboard.components import film_marker
from dashboard.pages.film import content
from dashboard.text.catalogue import _, keeping_language
from dashboard.text.cautions import MINORS
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.family import SentFilm


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Mark a film")
    student = person["student"]
    st.title(_("A film of {name}, marked by eye").format(name=person["name"]), anchor=False)
    missing = content.withheld(reader, student)
    if missing:
        layout.say(missing)
    else:
        st.write(
            _(
                "Go to each moment, mark it, and tap for each foot whether its heel is up or down. Two "
                "moments are enough; leave out what the film does not show."
            )
        )
        if reader.settings.consents_kept_elsewhere:
            layout.aside(_("Consents are kept elsewhere: check there that this student may be filmed."))
        chosen = _sent(reader, student)
        _marker(reader, student, chosen)
    navigation.link("student", _("See what was marked, on the student's page →"), student=student)
    if reader.is_minor(student):
        layout.aside(_(MINORS))


def _sent(reader: Reader, student: str) -> SentFilm | None:
    """Films that the family sent: one to mark, or to decline; the one chosen to mark."""
    waiting = content.waiting_films(reader, student)
    if not waiting:
        return None
    st.header(_("Sent by the family"), anchor=False)
    layout.aside(
        _("Mark one below, and it is taken up; or decline it. Either way the film itself is then removed.")
    )
    opened = f"film-opened-{student}"
    for film in waiting:
        with st.container(border=True):
            st.write(content.film_words(reader, film))
            if st.button(_("Open it to mark"), key=f"open-{film.film}", type="primary"):
                st.session_state[opened] = film.film
            with st.popover(_("Decline it")):
                reason = st.text_input(_("Why, in words for the family"), key=f"reason-{film.film}")
                if st.button(_("Decline"), key=f"decline-{film.film}"):
                    _decline(reader, student, film.film, reason)
    return next((film for film in waiting if film.film == st.session_state.get(opened)), None)


def _decline(reader: Reader, student: str, film: str, reason: str) -> None:
    try:
        content.decline(reader, student, film, reason)
    except (UnderfootError, OSError) as error:
        st.error(_("Not saved. {error}").format(error=error))
    else:
        st.rerun()


def _marker(reader: Reader, student: str, film: SentFilm | None) -> None:
    sent = f"film-marked-{student}"

    def keep(marked: Mapping[str, Any]) -> None:
        st.session_state[sent] = content.outcome(reader, student, marked)

    data = content.form_data(reader, student, st.session_state.get(sent), film)
    film_marker.show(data, key=f"marker-{student}", on_sent=keeping_language(keep))
