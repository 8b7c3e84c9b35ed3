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
        _marker(reader, student)
    navigation.link("student", _("What was marked: the student's page →"), student=student)
    if reader.is_minor(student):
        layout.aside(_(MINORS))


def _marker(reader: Reader, student: str) -> None:
    sent = f"film-marked-{student}"

    def keep(marked: Mapping[str, Any]) -> None:
        st.session_state[sent] = content.outcome(reader, student, marked)

    data = content.form_data(reader, student, st.session_state.get(sent))
    film_marker.show(data, key=f"marker-{student}", on_sent=keeping_language(keep))
