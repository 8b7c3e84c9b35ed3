"""Write a note: between two lessons, on a phone; kept on disk before the page says that it is kept."""

from collections.abc import Mapping
from typing import Any

from dashboard import elements as st
from dashboard import layout, navigation, readers
from dashboard.components import note_form
from dashboard.pages.notes import content
from dashboard.text.catalogue import _, keeping_language
from dashboard.text.cautions import MINORS
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Write a note")
    student = person["student"]
    st.title(_("A note on {name}").format(name=person["name"]), anchor=False)
    layout.discomfort(reader, student)
    sent = f"sent-{student}"

    def keep(form: Mapping[str, Any]) -> None:
        st.session_state[sent] = content.outcome(reader, student, form)

    data = content.form_data(reader, person, st.session_state.get(sent))
    note_form.show(data, key=f"note-{student}", on_sent=keeping_language(keep))
    waiting = content.waiting_sentence(readers.home(), student)
    if waiting:
        layout.say(waiting)
    navigation.link("lesson", _("Lesson sheet →"), student=student)
    if reader.is_minor(student):
        layout.aside(_(MINORS))
