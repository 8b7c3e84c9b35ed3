"""Lesson sheet: everything a coach needs in the ten minutes before a lesson, on one page."""

from collections.abc import Sequence

from dashboard import elements as st
from dashboard import layout, navigation, student_season
from dashboard.pages.lesson.content import about_student, lesson_sheet, sheet_html
from dashboard.pages.lesson.findings import Part
from dashboard.queries import people
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import _
from dashboard.text.markdown import markdown
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    with st.container(horizontal=True):
        person = layout.student(reader, "Lesson sheet")
        chosen = student_season.newest(reader, person)
        if chosen.season:
            families = people.families(reader, chosen.season, chosen.student)
            chosen = StudentSeason(reader, person, chosen.season, layout.clubs(families))
    narrow = layout.narrow()
    st.title(person["name"], anchor=False)
    layout.aside(about_student(chosen))
    sheet = lesson_sheet(chosen, narrow=narrow)
    for sentence in sheet.hurts:
        st.error(markdown("**{first}** {sentence}", first=_("Before you start."), sentence=sentence))
    if not narrow:  # on the first screen of a desk, however long today is
        _actions(chosen)
    _parts(sheet.name, sheet.today)
    if narrow:
        _actions(chosen)
    _parts(sheet.name, sheet.parts)
    if sheet.left_out:
        layout.aside(sheet.left_out)
    for sentence in sheet.cautions:
        layout.aside(sentence)


def _actions(chosen: StudentSeason) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        navigation.link("notes", _("Add note →"), student=chosen.student)
        navigation.link("session", _("Add swings →"), student=chosen.student)
        navigation.link("student", _("Compare with last visit →"), student=chosen.student)
        layout.save_to_print(
            lambda: sheet_html(lesson_sheet(chosen, narrow=False)),
            f"lesson-{chosen.student}",
            chosen.reader.settings.paper,
        )


def _parts(name: str, parts: Sequence[Part]) -> None:
    for part in parts:
        st.header(part.title, anchor=False)
        for sentence in part.sentences:
            st.write(sentence)
        if part.rows is not None:
            layout.table(part.rows, f"{name} {part.title}")
        if part.picture is not None:
            layout.picture(part.picture)
            layout.aside(part.picture.key)
