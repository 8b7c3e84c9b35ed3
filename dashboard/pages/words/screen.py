"""The Words page on screen."""

from dashboard import elements as st
from dashboard import layout
from dashboard.pages.words import content
from dashboard.text.catalogue import _
from warehouse.access import Reader


def show(_reader: Reader) -> None:
    """The page."""
    st.title(_("What the words mean"), anchor=False)
    for heading, terms in content.words().items():
        with layout.part(heading):
            for name, meaning in terms:
                layout.lead(f"{name}:", meaning)
