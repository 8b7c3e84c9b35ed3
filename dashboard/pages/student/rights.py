"""The head coach's part of the Student page for a family's rights: export everything, or forget."""

from pathlib import Path
from tempfile import TemporaryDirectory

from dashboard import elements as st
from dashboard import layout, readers
from dashboard.pages.student.export import export
from dashboard.text.catalogue import _, mark
from warehouse import forgotten
from warehouse.access import Reader


def show(reader: Reader, student: str, name: str) -> None:
    """Export and forget, each in its own words; nothing for anyone but a head coach."""
    if reader.viewer.role != "head_coach":
        return
    with (
        layout.part(_("What the family may ask for")),
        st.expander(_("Export or forget {name}").format(name=name)),
    ):
        _export(reader, student)
        _forget(reader, student, name)


def _export(reader: Reader, student: str) -> None:
    st.write(
        _(
            "Everything that is kept, in one zip with a page that explains it: tables, samples, what was "
            "delivered, films, notes that were not shared, and who looked."
        )
    )
    if st.button(_("Prepare the export"), key="export-prepare"):
        with TemporaryDirectory() as folder:
            file = export(reader, readers.home(), student, Path(folder) / "export.zip")
            st.session_state["export"] = (reader.viewer.person, student, file.read_bytes())
    by, whose, data = st.session_state.get("export", (None, None, b""))
    if (by, whose) == (reader.viewer.person, student):
        layout.save(_("Save the export"), lambda: data, f"export-{student}.zip", "application/zip")


def _forget(reader: Reader, student: str, name: str) -> None:
    home = readers.home()
    if any(request.student == student for request in forgotten.asked(home)):
        st.info(
            _("{name} is being forgotten; the next load does it and this page then ends.").format(name=name)
        )
        return
    st.write(
        _(
            "Forgetting removes everything about {name} for good, here and from every later restore: "
            "sessions, samples, films, notes, consents, links. Backups made so far still hold it until you "
            "remove them. Nobody can undo it."
        ).format(name=name)
    )
    sure = st.checkbox(_("I have exported what is still wanted, or nothing is"), key=f"forget-sure-{student}")
    typed = st.text_input(
        _("To confirm, type the code {code}").format(code=student),
        key=f"forget-code-{student}",
        disabled=not sure,
    )
    if st.button(_("Forget for good"), key="forget", disabled=not (sure and typed.strip() == student)):
        now = reader.anew()
        now.opened(mark("Forget"), student)
        forgotten.ask(home, student, by=now.viewer.person)
        st.rerun()
