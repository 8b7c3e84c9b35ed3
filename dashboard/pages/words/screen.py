"""The Words page on screen."""

from importlib import resources

from dashboard import elements as st
from dashboard import layout, navigation
from dashboard.pages.words import about, content
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("What the words mean"), anchor=False)
    with layout.part(_("A measure or fault in full")):
        _about(reader)
    for heading, terms in content.words().items():
        with layout.part(heading):
            for name, meaning in terms:
                layout.lead(f"{name}:", meaning)


def _about(reader: Reader) -> None:
    """What a number is, how sure it is here, and its rows."""
    code = layout.choose(_("Measure or fault"), about.choices(reader), "measure")
    for title, said in about.facts(reader, code).items():
        layout.lead(f"{title}:", said)
    layout.section(about.worth(reader, code))
    layout.aside(
        _(
            "For whoever looks after the computer: {command} prints every row; the samples are in the folder "
            "traces of the academy's home."
        ).format(command=about.query(code))
    )
    with st.container(horizontal=True, vertical_alignment="center"):
        navigation.link("trust", _("How often our claims hold →"))
        navigation.link("swings", _("Every swing in a table →"))
        layout.save(
            _("Save the list of all tables, measures and faults"),
            lambda: resources.files("warehouse").joinpath("REFERENCE.md").read_text(encoding="utf-8"),
            "REFERENCE.md", "text/markdown",
        )  # fmt: skip
